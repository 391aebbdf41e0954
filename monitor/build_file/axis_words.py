"""From the words of one axis to how far it goes in each move.

Owns absolute and relative words and positions that are set without a move (RS274/NGC 3.5.17 and 3.5.18). Knows nothing
of units or of other axes.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from monitor.build_file.words import Floats, Ints


class AxisMoves(NamedTuple):
    """What an axis does in a block.

    Parameters
    ----------
    steps_mm : array of float
        How far it goes in each move [mm].
    position_mm : array of float
        Where it is after each [mm].
    end_mm : float
        Where it is after the block [mm].
    """

    steps_mm: Floats
    position_mm: Floats
    end_mm: float


def axis_moves(
    words_mm: Floats, relative: Floats | float, sets: Sequence[tuple[int, float]], start_mm: float
) -> AxisMoves:
    """Follow one axis through the moves of a block.

    Parameters
    ----------
    words_mm : array of float
        Its word in each move, NaN where there is none [mm].
    relative : array of float or float
        1 where words are relative, 0 where they are positions.
    sets : sequence of (int, float)
        Before which move it is said to be where [mm].
    start_mm : float
        Where it is before the block [mm].
    """
    given = np.flatnonzero(~np.isnan(words_mm))
    if not given.size and not sets:
        return AxisMoves(np.zeros(len(words_mm)), np.full(len(words_mm), start_mm), start_mm)
    if sets or isinstance(relative, np.ndarray):
        return _mixed(words_mm, np.broadcast_to(relative, words_mm.shape), sets, start_mm, given)
    own = words_mm[given]
    places = start_mm + np.cumsum(own) if relative else own
    steps = own if relative else np.diff(own, prepend=start_mm)
    return _spread(len(words_mm), given, steps, given, places, start_mm)


def _mixed(
    words_mm: Floats, relative: Floats, sets: Sequence[tuple[int, float]], start_mm: float, given: Ints
) -> AxisMoves:
    """Go through sets and words in order: a place is the last given one and all relative words since."""
    rows = np.concatenate([np.array([row for row, _ in sets], np.int64), given])
    values = np.concatenate([np.array([value for _, value in sets], float), words_mm[given]])
    is_set = np.arange(len(rows)) < len(sets)
    order = np.argsort(rows, kind="stable")  # a set stands before the move that it shares its row with
    rows, values, is_set = rows[order], values[order], is_set[order]
    is_step = ~is_set & (relative[np.minimum(rows, len(words_mm) - 1)] > 0) if len(words_mm) else ~is_set
    gone = np.cumsum(np.where(is_step, values, 0.0))
    last = np.maximum.accumulate(np.where(is_step, -1, np.arange(len(rows))))
    base = np.where(last >= 0, values[last] - gone[last], start_mm)
    places = base + gone
    steps = np.where(is_step, values, np.diff(places, prepend=start_mm))
    return _spread(len(words_mm), rows[~is_set], steps[~is_set], rows, places, start_mm)


def _spread(count: int, moved: Ints, steps: Floats, rows: Ints, places: Floats, start_mm: float) -> AxisMoves:
    steps_mm = np.zeros(count)
    steps_mm[moved] = steps
    lengths = np.diff(rows, prepend=0, append=count)
    position_mm = np.repeat(np.concatenate([[start_mm], places]), lengths)
    return AxisMoves(steps_mm, position_mm, float(places[-1]))
