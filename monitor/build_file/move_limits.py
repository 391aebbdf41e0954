"""How fast each move may go, how hard it may speed up, and how fast the corner before it may be taken.

Owns these three limits of moves whose shape is known. The corner law with a deviation is that of a circle that touches
both moves and passes the corner at that distance, at the acceleration of the moves; the one with a step limits the
sudden change of speed of each axis. Both are common practice, no source.
"""

from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from monitor.build_file.machine_state import LimitTracks
from monitor.build_file.settings import NO_LIMIT
from monitor.build_file.tracks import Track
from monitor.build_file.words import Floats, Ints

SLOWEST_MM_S: Final = 1e-3
FASTEST_MM_S: Final = 5000.0
"""Bounds of what a speed may mean; no machine reaches either."""

_STRAIGHT: Final = 0.9999
_TINY: Final = 1e-9


class Shape(NamedTuple):
    """Shape of some moves, in order.

    Parameters
    ----------
    start, end : array of float, shape (3, n)
        Unit vectors along the path at its ends; zeros without travel.
    length_mm : array of float
        Of the path, or of the feed where there is no travel [mm].
    feed_mm : array of float
        [mm]
    is_still : array of bool
        There is no travel.
    """

    start: Floats
    end: Floats
    length_mm: Floats
    feed_mm: Floats
    is_still: npt.NDArray[np.bool_]


class LastMove(NamedTuple):
    """What the corner after a move depends on."""

    end: tuple[float, float, float] = (0.0, 0.0, 0.0)
    speed_mm_s: float = 0.0
    acceleration_mm_s2: float = 1.0
    is_still: bool = True


class MoveLimits(NamedTuple):
    """Limits of some moves: speed and acceleration along the path, squared speed in the corner before each."""

    speed_mm_s: Floats
    acceleration_mm_s2: Floats
    corner_mm2_s2: Floats


def move_limits(shape: Shape, wanted_mm_s: Floats, rows: Ints, limits: LimitTracks, last: LastMove) -> MoveLimits:
    """Limits of moves.

    Parameters
    ----------
    shape : Shape
        The moves.
    wanted_mm_s : array of float
        Speeds that the file asks for [mm/s].
    rows : array of int
        Lines of the moves in their block.
    limits : LimitTracks
        Limits over those lines.
    last : LastMove
        The move before.
    """
    feeds = np.where(shape.feed_mm > 0, limits.print_mm_s2.over(rows), limits.travel_mm_s2.over(rows))
    acceleration = np.where(shape.is_still, limits.retract_mm_s2.over(rows), feeds)
    parts = _parts(shape, limits)
    for part, track in zip(parts, limits.axis_mm_s2, strict=False):
        acceleration = _limited(acceleration, part, track, rows)
    speed = np.clip(wanted_mm_s, SLOWEST_MM_S, FASTEST_MM_S)
    for part, track in zip(parts, limits.axis_mm_s, strict=False):
        speed = _limited(speed, part, track, rows)
    acceleration = np.maximum(acceleration, SLOWEST_MM_S)
    return MoveLimits(speed, acceleration, _corners(shape, speed, acceleration, rows, limits, last))


def _parts(shape: Shape, limits: LimitTracks) -> list[Floats]:
    """Share of each axis in the path; left out where no axis has a limit. Of an arc, the larger one of its ends."""
    if all(track.value >= NO_LIMIT and not track.changes for track in (*limits.axis_mm_s2, *limits.axis_mm_s)):
        return []
    axes = np.maximum(np.abs(shape.start), np.abs(shape.end))
    return [*axes, np.abs(shape.feed_mm) / np.maximum(shape.length_mm, _TINY)]


def _limited(value: Floats, part: Floats, track: Track, rows: Ints) -> Floats:
    limit = track.over(rows)
    if isinstance(limit, float) and limit >= NO_LIMIT:
        return value
    known = np.where(np.asarray(limit) >= NO_LIMIT, np.inf, limit)
    return np.minimum(value, known / np.maximum(part, _TINY))


def _corners(
    shape: Shape, speed: Floats, acceleration: Floats, rows: Ints, limits: LimitTracks, last: LastMove
) -> Floats:
    before = np.concatenate([np.array(last.end)[:, None], shape.end[:, :-1]], axis=1)
    slower = np.minimum(speed, np.concatenate([[last.speed_mm_s], speed[:-1]]))
    lower = np.minimum(acceleration, np.concatenate([[last.acceleration_mm_s2], acceleration[:-1]]))
    corner: Floats = slower**2
    deviation, step = limits.deviation_mm.over(rows), limits.step_mm_s.over(rows)
    if not (isinstance(deviation, float) and deviation >= NO_LIMIT):
        along = before[0] * shape.start[0] + before[1] * shape.start[1] + before[2] * shape.start[2]
        half = np.sqrt(np.clip(0.5 + 0.5 * along, 0.0, 1.0))
        room = lower * deviation * half / np.maximum(1.0 - half, _TINY)
        corner = np.where(half > _STRAIGHT, corner, np.minimum(corner, room))
    if not (isinstance(step, float) and step >= NO_LIMIT):
        change = np.abs(shape.start - before).max(axis=0)
        corner = np.minimum(corner, (step / np.maximum(change, _TINY)) ** 2)
    is_stop = shape.is_still | np.concatenate([[last.is_still], shape.is_still[:-1]])
    corner[is_stop] = 0.0
    return corner
