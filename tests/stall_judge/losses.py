"""What each pattern takes from the feed, beyond its onset: the truth.

Owns the patterns and their severities. The shapes are known in the trade (common practice, no source), the sizes are
drawn. Knows nothing of encoders or reports.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from random import Random
from typing import Final

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


class Pattern(StrEnum):
    """What really is the matter."""

    HEALTHY = "healthy"
    STOPS = "strand stops"
    COLD = "cold skipping"
    JAM = "jam after idle"
    GRINDING = "grinding"
    DRAG_CLOG = "clog, drag"
    DRAG_CLOG_20 = "clog, 20 % per m"
    CAPACITY_CLOG = "clog, capacity"
    RUN_OUT = "run-out"
    TANGLE = "tangle"
    SLIP_50 = "slip 50 %"
    SLIP_30 = "slip 30 %"
    SLIP_10 = "slip 10 %"


@dataclass(frozen=True, slots=True)
class Beyond:
    """Where and how strand is fed beyond the onset, piece by piece."""

    way_mm: Array  # new strand commanded since the onset; below 0 before it
    flow: Array  # mm³/s commanded
    wall_c: Array


@dataclass(frozen=True, slots=True)
class Losses:
    """Shares of each piece that are lost, and how.

    `skipped` in whole cycles of the motor, `smooth` without; both of new strand alone. `no_grip` of any motion either
    way. `gone`: nothing is left at the encoder, whatever the drive does; the melt still gets the tail.
    """

    skipped: Array
    smooth: Array
    no_grip: Array
    gone: npt.NDArray[np.bool_]
    tail_mm: float = 0.0


Law = Callable[[Beyond], Losses]
"""A pattern with its severity drawn."""


@dataclass(frozen=True, slots=True)
class Cold:
    """How far the wall falls in cold skipping, and by what."""

    below_least_k: float
    is_set_so: bool
    tau_s: float


CLOG_PER_M: Final = (0.08, 0.2, 0.4, 0.8)
CAPACITY: Final = 14.0
CAPACITY_OVER_MM: Final = (1500.0, 3000.0, 6000.0)


def capacity_share(flow: Array, most: Array | float) -> Array:
    """Share that cannot pass where no more than `most` mm³/s can."""
    limit: Array = 1.0 - np.divide(most, np.maximum(flow, 1e-9))
    return np.maximum(0.0, limit)


def held(random: Random, way_mm: Array, low: float, high: float) -> Array:
    """Share that a failing drive still gets through: irregular, anew every few millimetres."""
    rng = np.random.default_rng(random.getrandbits(32))
    count = 8 + int(max(0.0, float(way_mm.max(initial=0.0))))
    ends = np.cumsum(rng.uniform(1.0, 6.0, count))
    values = rng.uniform(low, high, count)
    found: Array = values[np.minimum(np.searchsorted(ends, way_mm), count - 1)]
    return found


def _losses(
    at: Beyond,
    skipped: Array | float = 0.0,
    smooth: Array | float = 0.0,
    no_grip: Array | float = 0.0,
    tail_mm: float | None = None,
) -> Losses:
    is_past = at.way_mm > 0
    parts = [np.where(is_past, share, 0.0) for share in (skipped, smooth, no_grip)]
    return Losses(parts[0], parts[1], parts[2], is_past & (tail_mm is not None), tail_mm or 0.0)


def _constant(random: Random, share: float) -> Law:
    in_cycles = random.random() < 0.5
    return lambda at: _losses(at, skipped=share) if in_cycles else _losses(at, smooth=share)


def _jam(random: Random) -> Law:
    low, high = random.choice(((0.5, 0.7), (0.7, 0.95), (0.95, 1.0)))
    return lambda at: _losses(at, skipped=1.0 - held(random, at.way_mm, 1.0 - high, 1.0 - low))


def _grinding(random: Random) -> Law:
    most = random.choice((0.05, 0.12, 0.3))
    groove_mm = random.uniform(2.0, 8.0)
    return lambda at: _losses(
        at, no_grip=np.clip(at.way_mm / groove_mm, 0.0, 1.0) * (1.0 - held(random, at.way_mm, 0.0, most))
    )


def _drag(random: Random, per_m: float | None = None) -> Law:
    grows = (random.choice(CLOG_PER_M) if per_m is None else per_m) / 1000.0
    return lambda at: _losses(at, smooth=np.clip(grows * at.way_mm, 0.0, 0.7))


def _capacity(random: Random) -> Law:
    over_mm = random.choice(CAPACITY_OVER_MM)

    def law(at: Beyond) -> Losses:
        most = CAPACITY * np.clip(1.0 - at.way_mm / over_mm, 0.03, 1.0)
        return _losses(at, skipped=capacity_share(at.flow, most))

    return law


def _run_out(random: Random) -> Law:
    tail_mm = random.uniform(15.0, 400.0)
    return lambda at: _losses(at, tail_mm=tail_mm)


def _tangle(random: Random) -> Law:
    stretch_mm, bend = random.uniform(5.0, 20.0), random.uniform(0.7, 1.5)
    yields = random.choice((0.0, 0.0, 0.3))  # now and then the loops give way a little

    def law(at: Beyond) -> Losses:
        tight = np.clip(np.maximum(at.way_mm, 0.0) / stretch_mm, 0.0, 1.0) ** bend
        return _losses(at, skipped=tight * (1.0 - held(random, at.way_mm, 0.0, yields)))

    return law


def _stops(random: Random) -> Law:
    return _constant(random, random.uniform(0.9, 1.0))


def draw_law(random: Random, pattern: Pattern) -> Law:
    """A severity of the pattern; cold skipping takes its loss from the wall instead, healthy feed has none."""
    laws: dict[Pattern, Callable[[], Law]] = {
        Pattern.STOPS: lambda: _stops(random),
        Pattern.JAM: lambda: _jam(random),
        Pattern.GRINDING: lambda: _grinding(random),
        Pattern.DRAG_CLOG: lambda: _drag(random),
        Pattern.DRAG_CLOG_20: lambda: _drag(random, 0.2),
        Pattern.CAPACITY_CLOG: lambda: _capacity(random),
        Pattern.RUN_OUT: lambda: _run_out(random),
        Pattern.TANGLE: lambda: _tangle(random),
        Pattern.SLIP_50: lambda: _constant(random, 0.5),
        Pattern.SLIP_30: lambda: _constant(random, 0.3),
        Pattern.SLIP_10: lambda: _constant(random, 0.1),
    }
    return laws[pattern]() if pattern in laws else _losses


def draw_cold(random: Random, limit_per_k: float) -> Cold:
    """How cold: so that the fastest flow of the build loses 15 to 60 %."""
    share = random.choice((0.15, 0.3, 0.6))
    below_k = -float(np.log((1.0 - share) / MARGIN)) / limit_per_k
    return Cold(below_k, random.random() < 0.5, random.uniform(40.0, 150.0))


MARGIN: Final = 1.05
"""At the strand's lowest temperature the flow limit is this much above the fastest flow of the build."""
