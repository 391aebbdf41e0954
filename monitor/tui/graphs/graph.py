"""A curve over time in cells, with labels of values at the left and names of limits at the right. Pure.

It is read without colour and in plain ASCII: colour only adds. Owns the shares of the width.
"""

import math
from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

import numpy as np

from monitor.tui.graphs.canvas import OVER, UNDER, Canvas
from monitor.tui.graphs.curve import Curve, Floats, Level, measured, newest
from monitor.tui.graphs.scale import Scale, number, scale_for
from monitor.tui.ink import DIM, Line, Span, fit

__all__ = ["Curve", "Layout", "Level", "graph", "layout_for", "scale_of"]

_LEFT_CELLS: Final = 8
_LEFT_FROM_CELLS: Final = 28
_RIGHT_FROM_CELLS: Final = 44


class Layout(NamedTuple):
    """Cells of a graph from left to right: labels of values, columns, names of limits."""

    left: int
    cells: int
    right: int


def layout_for(width: int, levels: Iterable[Level] = ()) -> Layout:
    """Shares of a width: the same for all graphs that stand above one another when it is given the levels of all."""
    left = _LEFT_CELLS if width >= _LEFT_FROM_CELLS else 0
    names = max((len(_name(level)) + 2 for level in levels), default=0)
    right = min(names, width // 4) if width >= _RIGHT_FROM_CELLS else 0
    return Layout(left, max(0, width - left - right), right)


def scale_of(curve: Curve, levels: Sequence[Level] = ()) -> Scale:
    """The scale on which a curve is drawn."""
    low, high, known = measured(curve)
    ahead = [np.asarray(side, dtype=float) for side in (curve.ahead_low, curve.ahead_high)]
    values = np.concatenate([low[known], high[known], *map(np.ravel, ahead)])
    at_levels = np.concatenate([np.empty(0), *(np.ravel(np.asarray(level.value, dtype=float)) for level in levels)])
    return scale_for(curve.unit, _extremes(values), _extremes(at_levels, every=len(levels) + 1))


def graph(curve: Curve, levels: Sequence[Level], layout: Layout, rows: int, *, dim: bool = False) -> list[Line]:
    """Exactly `rows` lines, none wider than the layout; `dim` when it does not reach to now."""
    if rows <= 0:
        return []
    scale = scale_of(curve, levels)
    canvas = Canvas(rows, layout.cells)
    for level in levels:
        canvas.draw_level(level, scale)
    canvas.draw_curve(curve, levels, scale)
    left = {canvas.row_of(value, scale): text for value, text in scale.labels} if rows > 1 else {}
    right = _names(levels, scale, canvas)
    return [
        (_left(left.get(row, ""), layout.left), *canvas.spans(row, dim=dim), Span(_cut(right[row], layout.right), DIM))
        for row in range(rows)
    ]


def _extremes(values: Floats, every: int = 2) -> list[float]:
    """The lowest and the highest finite value; all of them where they are few."""
    finite = values[np.isfinite(values)]
    return finite.tolist() if len(finite) <= every else [float(finite.min()), float(finite.max())]


def _name(level: Level) -> str:
    return f"{level.name} {number(newest(level))}"


def _names(levels: Sequence[Level], scale: Scale, canvas: Canvas) -> list[str]:
    """Names of limits by row, each at its own or the nearest free row; an arrow where it lies beyond the scale."""
    names = [""] * canvas.rows
    known = [(value, level) for level in levels if not math.isnan(value := newest(level))]
    for value, level in sorted(known, key=lambda pair: -pair[0]):
        row = canvas.row_of(value, scale)
        arrow = OVER if value > scale.top else UNDER if value < scale.bottom else ""
        free = min((at for at in range(canvas.rows) if not names[at]), key=lambda at: abs(at - row), default=row)
        names[free] += f"{', ' if names[free] else ' '}{_name(level)}{arrow}"
    return names


def _left(label: str, cells: int) -> Span:
    return Span(f"{fit(label, min(len(label), cells - 1)):>{cells - 1}} " if cells else "", DIM)


def _cut(text: str, cells: int) -> str:
    return fit(text, min(len(text), cells))
