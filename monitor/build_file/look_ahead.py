"""How long moves take: trapezoids of speed, with exact look-ahead over moves that come bit by bit.

Owns that arithmetic. A speed in a corner may be no higher than what lets the machine slow down for all that follows,
and no higher than what it can have reached; with S, the running sum of 2 a L, these are two running minima: backwards
of corner² + S, forwards of the result − S. A corner is final once none of the moves that are not yet known can lower
it: once the backward minimum is no more than S at the end of what is known.
"""

from typing import Final, NamedTuple

import numpy as np

from monitor.build_file.move_table import Moves
from monitor.build_file.words import Floats

MOST_HELD: Final = 50_000
"""Moves that wait for their end to be known; if more do, the machine is taken to stop there."""


class Timed(NamedTuple):
    """Moves with the time that each takes, stops included [s]."""

    moves: Moves
    time_s: Floats


class SpeedPlanner:
    """Takes moves and gives them back, in order, once their times are certain."""

    def __init__(self) -> None:
        self._held: Moves | None = None
        self._start_mm2_s2 = 0.0

    def add(self, moves: Moves, *, is_end: bool = False) -> Timed | None:
        """Add moves; returns those whose times are certain now, None if there are none. At the end all are."""
        held = moves if self._held is None else Moves._make(map(np.concatenate, zip(self._held, moves, strict=True)))
        count = len(held.line)
        if count == 0:
            return None
        reach = np.concatenate([[0.0], np.cumsum(2.0 * held.acceleration_mm_s2 * held.length_mm)])
        corner = np.append(held.corner_mm2_s2, 0.0)
        corner[0] = self._start_mm2_s2
        known = np.minimum.accumulate((corner + reach)[:-1][::-1])[::-1]
        certain = int(np.searchsorted(known, reach[-1], side="right")) - 1
        if is_end or count - certain > MOST_HELD:
            certain = count
        backward = np.minimum(np.append(known, reach[-1]), reach[-1]) - reach
        backward[0] = self._start_mm2_s2
        squared = np.maximum(np.minimum.accumulate(backward - reach) + reach, 0.0)
        self._held = Moves._make(column[certain:] for column in held)
        if certain == 0:
            return None
        self._start_mm2_s2 = float(squared[certain])
        done = Moves._make(column[:certain] for column in held)
        return Timed(done, move_times(done, squared[:certain], squared[1 : certain + 1]) + done.still_s)


def move_times(moves: Moves, start_mm2_s2: Floats, end_mm2_s2: Floats) -> Floats:
    """Time of each move between two squared speeds [s]: a trapezoid, or a triangle where it is too short for one."""
    length, speed, acceleration = moves.length_mm, moves.speed_mm_s, moves.acceleration_mm_s2
    both = start_mm2_s2 + end_mm2_s2
    peak = np.minimum(np.sqrt(acceleration * length + both / 2), speed)
    start, end = np.sqrt(start_mm2_s2), np.sqrt(end_mm2_s2)
    ramps = (2 * peak * peak - both) / (2 * acceleration)
    ramp_s: Floats = np.maximum(2 * peak - start - end, 0.0) / acceleration
    return ramp_s + np.maximum(length - ramps, 0.0) / speed
