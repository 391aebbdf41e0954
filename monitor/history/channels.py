"""The curves there are of a watch: their keys, titles, units and limits, and their values at one moment.

Owns the keys. What is not known at a moment (not reported, stale, a strand that is withdrawn) is NaN, never 0.
Knows nothing of how values are kept or drawn.

Notes
-----
Keys are made of words and a sensor's, zone's or input's name: ``wall manifold``, ``set manifold``, ``duty manifold``,
``liner heat break``, ``shared channel``, and by input ``dose 4``, ``left 4``, ``softening 4``, ``soft front 4``,
``hottest 4``, ``feed 4``, ``idle 4``, ``slip 4``.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final, Literal, NamedTuple

import numpy as np

from monitor.core.assessment import Activity, Array, Assessment, LinerReading, Quality, StrandAssessment, WallReading
from monitor.history.seen import Seen, SeenStrand, SeenWall

LimitName = Literal["warn", "limit", "alarm", "stop", "set", "must feed", "glass"]

SHARED_KEY: Final = "shared channel"
UNKNOWN: Final = math.nan


class Limit(NamedTuple):
    """A value that a curve may be held against, in the curve's unit; None where it is not known at present."""

    name: LimitName
    value: float | None


@dataclass(frozen=True, slots=True)
class Channel:
    """One curve.

    Parameters
    ----------
    key : str
        Its name in a history.
    title : str
        Its name for the owner.
    unit : str
        Unit of its values and limits.
    input : int or None
        The strand it is of; None where it is of the machine.
    limits : tuple of Limit
        As they stand now: set points change.
    """

    key: str
    title: str
    unit: str
    input: int | None = None
    limits: tuple[Limit, ...] = ()


def channels_of(assessment: Assessment) -> tuple[Channel, ...]:
    """All curves that there are now: of walls, liners, the shared channel, strands. A new sensor adds its own."""
    found = [
        *(channel for wall in assessment.walls for channel in _wall_channels(wall, assessment)),
        *map(_liner_channel, assessment.liners),
        *_shared_channels(assessment),
        *(channel for strand in assessment.strands for channel in _strand_channels(strand)),
    ]
    return tuple({channel.key: channel for channel in found}.values())


def values_of(seen: Seen) -> Array:
    """Values of these curves, in the same order; NaN where one is not known."""
    return np.array(list(readings_of(seen).values()))


def readings_of(seen: Seen) -> dict[str, float]:
    """Values of these curves by key, in the same order; NaN where one is not known.

    Infinity is a value: nothing runs out. Slip is told by two moments, so of one alone it is not known (`slip.py`).
    """
    readings: dict[str, float] = {}
    for wall in seen.walls:
        readings.update(_wall_readings(wall))
    is_good = seen.quality == Quality.GOOD
    for liner in seen.liners:
        readings[f"liner {liner.zone}"] = liner.hottest_c if is_good else UNKNOWN
    readings.update(_shared_reading(seen))
    for strand in seen.strands:
        readings.update(_strand_readings(strand))
    return readings


def _wall_readings(wall: SeenWall) -> Iterator[tuple[str, float]]:
    is_good = wall.quality == Quality.GOOD
    yield f"wall {wall.sensor}", wall.temp_c if is_good and wall.temp_c is not None else UNKNOWN
    if wall.set_c is not None:
        yield f"set {wall.sensor}", wall.set_c if is_good else UNKNOWN
    if wall.duty is not None:
        yield f"duty {wall.sensor}", 100.0 * wall.duty if is_good else UNKNOWN


def _shared_reading(seen: Seen) -> Iterator[tuple[str, float]]:
    """Highest dose in percent of its strand's warn dose, as the alert sees it."""
    if seen.shared:
        highest = max(100.0 * held.dose_min / held.dose_warn_min for held in seen.shared)
        yield SHARED_KEY, highest if seen.quality == Quality.GOOD else UNKNOWN


_IN_PATH: Final[tuple[tuple[str, Callable[[SeenStrand], float]], ...]] = (
    ("dose", lambda it: it.dose_now_min),
    ("left", lambda it: it.limit_left_s.low),
    ("softening", lambda it: it.softening_min),
    ("soft front", lambda it: it.soft_front_mm),
    ("hottest", lambda it: it.hottest_c),
    ("idle", lambda it: it.idle_s),
)
"""What is told of a strand as long as it lies in the hot path."""


def _strand_readings(strand: SeenStrand) -> Iterator[tuple[str, float]]:
    is_good = strand.quality == Quality.GOOD
    is_there = is_good and strand.activity != Activity.WITHDRAWN
    for name, value in _IN_PATH:
        yield f"{name} {strand.input}", value(strand) if is_there else UNKNOWN
    if strand.fed_mm is not None:
        yield f"feed {strand.input}", strand.feed_mm_s if is_good else UNKNOWN
    if strand.flow_slip:
        yield f"slip {strand.input}", UNKNOWN


def _wall_channels(wall: WallReading, assessment: Assessment) -> Iterator[Channel]:
    limits = [Limit("set", wall.set_c)] if wall.set_c is not None else []
    if wall.sensor == _merge_sensor(assessment):
        limits.append(Limit("must feed", _must_feed_c(assessment)))
    yield Channel(f"wall {wall.sensor}", wall.sensor, "°C", None, tuple(limits))
    if wall.set_c is not None:
        yield Channel(f"set {wall.sensor}", f"{wall.sensor}, set point", "°C")
    if wall.duty is not None:
        yield Channel(f"duty {wall.sensor}", f"{wall.sensor}, power", "%")


def _merge_sensor(assessment: Assessment) -> str | None:
    """Sensor of the zone that ends at the merge point, where strands have to be hot enough to feed."""
    at_merge = min(assessment.zones, key=lambda zone: abs(zone.hot_end_mm), default=None)
    return None if at_merge is None else at_merge.sensor


def _must_feed_c(assessment: Assessment) -> float | None:
    """What the most demanding strand in the path needs [°C]."""
    loaded = (it for it in assessment.strands if it.activity is not Activity.WITHDRAWN)
    return max((it.min_feed_c for it in loaded), default=None)


def _liner_channel(liner: LinerReading) -> Channel:
    limits = (Limit("warn", liner.warn_c), Limit("alarm", liner.alarm_c), Limit("stop", liner.stop_c))
    return Channel(f"liner {liner.zone}", f"{liner.liner} liner of the {liner.zone}", "°C", None, limits)


def _shared_channels(assessment: Assessment) -> Iterator[Channel]:
    if assessment.shared:
        yield Channel(SHARED_KEY, "shared channel, share of the warn dose", "%", None, (Limit("warn", 100.0),))


def _strand_channels(strand: StrandAssessment) -> Iterator[Channel]:
    number = strand.input

    def channel(name: str, title: str, unit: str, *limits: Limit) -> Channel:
        return Channel(f"{name} {number}", f"input {number}, {title}", unit, number, limits)

    yield channel("dose", "dose", "min", Limit("warn", strand.dose_warn_min), Limit("limit", strand.dose_limit_min))
    yield channel("left", "left at least", "s")
    softening = Limit("warn", strand.softening_warn_min), Limit("limit", strand.softening_limit_min)
    yield channel("softening", "softening", "min", *softening)
    yield channel("soft front", "soft front", "mm", Limit("limit", strand.stiff_from_mm))
    yield channel("hottest", "hottest", "°C", Limit("glass", strand.glass_c), Limit("must feed", strand.min_feed_c))
    yield channel("idle", "idle", "s")
    if strand.fed_mm is not None:
        yield channel("feed", "feed", "mm/s")
    if strand.flow_slip:
        yield channel("slip", "slip", "%")
