"""Moves and stops of a file as a table, and the putting of stops among moves.

Owns the columns. Knows nothing of words or of how long a move takes.
"""

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from monitor.build_file.machine_state import MachineState, Still
from monitor.build_file.words import Floats, Ints


class Moves(NamedTuple):
    """Moves and stops in order, one row each.

    Parameters
    ----------
    line : array of int
        Lines of the file before its own.
    length_mm, speed_mm_s, acceleration_mm_s2 : array of float
        Path and limits along it [mm, mm/s, mm/s²].
    corner_mm2_s2 : array of float
        Square of the highest speed at its start [mm²/s²].
    still_s : array of float
        Time that it stands beside that [s].
    feed_mm : array of float
        Feed of all inputs together [mm].
    mix : array of float
        Place of its mix among those of the state.
    z_mm : array of float
        Height after it, NaN without travel [mm].
    """

    line: Ints
    length_mm: Floats
    speed_mm_s: Floats
    acceleration_mm_s2: Floats
    corner_mm2_s2: Floats
    still_s: Floats
    feed_mm: Floats
    mix: Floats
    z_mm: Floats


def with_stops(moves: Moves, stills: Sequence[Still], state: MachineState) -> Moves:
    """Put stops among the moves, each before the move of its own line."""
    lines = np.array([still.line for still in stills], np.int64)
    places = np.searchsorted(moves.line, lines, side="left")
    feed = np.array([still.feed_mm for still in stills])
    rows = Moves(
        lines,
        np.abs(feed),
        np.array([still.speed_mm_s for still in stills]),
        np.full(len(lines), state.limits.retract_mm_s2.value),
        np.zeros(len(lines)),
        np.array([still.time_s for still in stills]),
        feed,
        np.broadcast_to(state.mix.over(lines), lines.shape),
        np.full(len(lines), np.nan),
    )
    corner = moves.corner_mm2_s2.copy()
    corner[places[places < len(corner)]] = 0.0
    moves = moves._replace(corner_mm2_s2=corner)
    to_stills = places + np.arange(len(lines))
    to_moves = np.ones(len(lines) + len(moves.line), bool)
    to_moves[to_stills] = False
    at = np.flatnonzero(to_moves)
    return Moves._make(_interleaved(own, at, more, to_stills) for own, more in zip(moves, rows, strict=True))


def _interleaved(own: npt.NDArray[Any], at: Ints, more: npt.NDArray[Any], at_more: Ints) -> npt.NDArray[Any]:
    found = np.empty(len(own) + len(more), own.dtype)
    found[at] = own
    found[at_more] = more
    return found
