"""Characters and looks of one graph while it is drawn: what was measured, what may come, limits. Pure.

Each column is a run from the lowest to the highest value in its time, to half a row. Where nothing is known nothing is
drawn but a light mark in the middle row; what may come has a character of its own.
"""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from monitor.core.alert_types import Priority
from monitor.tui.graphs.curve import Curve, Flags, Floats, Level, fitted, measured
from monitor.tui.graphs.scale import Scale
from monitor.tui.ink import DIM, PLAIN, Look, Span

CURVE: Final = " ▄▀█"
"""Nothing, the lower half of a cell, the upper half, all of it."""

GAP, LIMIT, AHEAD, NOW, OVER, UNDER = "░", "┄", "▒", "│", "↑", "↓"

_LOOKS: Final = (PLAIN, DIM, *(Look(signal=priority) for priority in Priority))
_PLAIN, _DIM = 0, 1


class Canvas:
    """Characters and looks of the columns of one graph while it is drawn."""

    def __init__(self, rows: int, cells: int) -> None:
        self.rows, self.cells = rows, cells
        self._chars = np.full((rows, cells), " ")
        self._looks = np.full((rows, cells), _PLAIN)

    def row_of(self, value: float, scale: Scale) -> int:
        """The row that holds a value, the nearest for one out of scale."""
        return self.rows - 1 - int(self._halves(np.array([value]), scale)[0]) // 2

    def spans(self, row: int, *, dim: bool) -> list[Span]:
        """One row, cells of one look joined."""
        text, looks = "".join(self._chars[row].tolist()), self._looks[row]
        if dim or not self.cells:
            return [Span(text, DIM)]
        changes = ((looks[1:] != looks[:-1]).nonzero()[0] + 1).tolist()
        begins, ends = [0, *changes], [*changes, self.cells]
        return [Span(text[at:end], _LOOKS[looks[at]]) for at, end in zip(begins, ends, strict=True)]

    def draw_level(self, level: Level, scale: Scale) -> None:
        """A dashed line, every other cell, where the limit is known and in scale."""
        values = fitted(level.value, self.cells, math.nan) if np.ndim(level.value) else np.full(self.cells, level.value)
        columns = np.flatnonzero((values >= scale.bottom) & (values <= scale.top))
        rows = self.rows - 1 - self._halves(values[columns], scale) // 2
        self._chars[rows[columns % 2 == 0], columns[columns % 2 == 0]] = LIMIT
        self._looks[rows, columns] = _DIM

    def draw_curve(self, curve: Curve, levels: Sequence[Level], scale: Scale) -> None:
        """What was measured, then now, then what may come."""
        low, high, known = measured(curve, self.cells)
        for at in np.flatnonzero(~known & (np.arange(len(known)) >= curve.before)):
            self._put(self.rows // 2, int(at), GAP)
        self._draw_runs(low, high, known, scale, _look_of(high, levels))
        self._draw_ahead(curve, scale)

    def _draw_runs(self, low: Floats, high: Floats, known: Flags, scale: Scale, looks: NDArray[np.int_]) -> None:
        upper = 2 * np.arange(self.rows)[::-1, None] + 1
        first, last = self._halves(low, scale), self._halves(high, scale)
        is_upper, is_lower = ((first <= half) & (last >= half) & known for half in (upper, upper - 1))
        shapes = np.array(list(CURVE))[2 * is_upper + is_lower]
        half = (scale.top - scale.bottom) / (2 * self.rows)
        shapes[0, known & (low > scale.top + half)] = OVER
        shapes[-1, known & (high < scale.bottom - half)] = UNDER
        drawn = shapes != " "
        columns = len(low)
        self._chars[:, :columns][drawn] = shapes[drawn]
        self._looks[:, :columns][drawn] = np.broadcast_to(looks, drawn.shape)[drawn]

    def _draw_ahead(self, curve: Curve, scale: Scale) -> None:
        low, high = (np.asarray(side, dtype=float).ravel() for side in (curve.ahead_low, curve.ahead_high))
        now = int(np.size(curve.low))
        if not len(low) or now >= self.cells:
            return
        for row in range(self.rows):
            self._put(row, now, NOW)
        rows_low, rows_high = self._halves(low, scale) // 2, self._halves(high, scale) // 2
        for at in np.flatnonzero(~np.isnan(low) & ~np.isnan(high))[: self.cells - now - 1]:
            for row in range(int(rows_low[at]), int(rows_high[at]) + 1):
                self._put(self.rows - 1 - row, now + 1 + int(at), AHEAD)

    def _put(self, row: int, column: int, char: str) -> None:
        if column < self.cells:
            self._chars[row, column] = char
            self._looks[row, column] = _DIM

    def _halves(self, values: Floats, scale: Scale) -> NDArray[np.int_]:
        """Half row of each value, counted from the bottom; the nearest for what is out of scale."""
        with np.errstate(all="ignore"):
            share = (values - scale.bottom) / (scale.top - scale.bottom)
            halves = np.rint(np.nan_to_num(share * (2 * self.rows - 1), posinf=math.inf, neginf=-math.inf))
        return np.clip(halves, 0, 2 * self.rows - 1).astype(int)


def _look_of(high: Floats, levels: Sequence[Level]) -> NDArray[np.int_]:
    """Index in `_LOOKS` of each column: that of the gravest limit it reached, else plain."""
    looks = np.zeros(len(high), dtype=int)
    for level in sorted((it for it in levels if it.signal is not None), key=lambda it: it.signal or 0):
        limit = level.value if np.ndim(level.value) == 0 else fitted(level.value, len(high), math.nan)
        looks[high >= limit] = _LOOKS.index(Look(signal=level.signal))
    return looks
