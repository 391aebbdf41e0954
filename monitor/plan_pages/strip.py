"""Every strand over the hours of a planned build, cut into columns: what it does there, and how far it has aged.

Owns what goes before what when a column holds several things: what has aged matters more than what feeds. Knows
nothing of how a column is drawn.
"""

from dataclasses import dataclass
from enum import IntEnum
from typing import Final

import numpy as np

from monitor.build_file.schedule import Stretches
from monitor.core.assessment import Array
from monitor.planning.options import Build, Option

_HARDLY: Final = 0.005
"""Less feed than this share of a column is not drawn, unless it is all there is."""
_MOSTLY: Final = 0.5


class Cell(IntEnum):
    """What a strand does in a column."""

    GONE = 0
    STANDS = 1
    FEEDS_PARTLY = 2
    FEEDS = 3
    PAST_HALF = 4  # of its warn dose
    PAST_WARN = 5
    PAST_LIMIT = 6


@dataclass(frozen=True, slots=True)
class Row:
    """One strand."""

    input: int
    name: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Strip:
    """All strands, and the wall at the merge point: its highest temperature in each column [°C]."""

    length_s: float
    rows: tuple[Row, ...]
    manifold_c: tuple[float, ...]


def strip_of(build: Build, option: Option, columns: int) -> Strip:
    """Cut the run of an option into columns."""
    length_s = max(build.schedule.duration.planned_s, 1.0)
    edges_s = np.linspace(0.0, length_s, columns + 1)
    strands = build.model.parameters.strands
    rows = tuple(
        Row(
            strand.input,
            strand.label or strand.material.name,
            tuple(Cell(cell) for cell in _cells(build, option, place, edges_s).tolist()),
        )
        for place, strand in enumerate(strands)
    )
    return Strip(length_s, rows, tuple(_highest(option.run.times_s, option.run.merge_c, edges_s).tolist()))


def _cells(build: Build, option: Option, place: int, edges_s: Array) -> Array:
    strand, run = build.model.parameters.strands[place], option.run.strands[place]
    dose_min = _highest(option.run.times_s, run.dose_min, edges_s)
    share = _fed_share(build, option, strand.input, edges_s)
    cells = np.where(dose_min > strand.material.warn_min / 2, Cell.PAST_HALF, Cell.STANDS)
    cells = np.where(share > 0.0, np.where(share >= _MOSTLY, Cell.FEEDS, Cell.FEEDS_PARTLY), cells)
    cells = np.where(dose_min > strand.material.warn_min, Cell.PAST_WARN, cells)
    cells = np.where(dose_min > strand.material.limit_min, Cell.PAST_LIMIT, cells)
    gone_s = option.changes.withdrawn_s.get(strand.input)
    return cells if gone_s is None else np.where(edges_s[:-1] >= gone_s, Cell.GONE, cells)


def _fed_share(build: Build, option: Option, number: int, edges_s: Array) -> Array:
    """Share of each column in which a strand feeds; a moment of waste counts as a little."""
    share = np.zeros(len(edges_s) - 1)
    plan = build.schedule.of_input(number)
    if plan is not None:
        share = np.diff(_feeding_s(plan.stretches, edges_s)) / np.diff(edges_s)
        share[share < _HARDLY] = 0.0
        first = min(int(np.searchsorted(edges_s, plan.first_s, side="right")) - 1, len(share) - 1)
        share[first] = max(share[first], _HARDLY)
    for advance in option.changes.advances:
        if advance.input == number:
            column = min(int(np.searchsorted(edges_s, advance.time_s, side="right")) - 1, len(share) - 1)
            share[column] = max(share[column], _HARDLY)
    return share


def _feeding_s(stretches: Stretches, times_s: Array) -> Array:
    """Time spent feeding until each of these times [s]."""
    rows = stretches.new_mm > 0.0
    start_s, end_s = stretches.start_s[rows], stretches.end_s[rows]
    if not len(start_s):
        return np.zeros(len(times_s))
    spent_s = np.cumsum(end_s - start_s)
    at_s = np.maximum.accumulate(np.column_stack([start_s, end_s]).ravel())
    spent_at_s = np.column_stack([spent_s - (end_s - start_s), spent_s]).ravel()
    return np.interp(times_s, at_s, spent_at_s, left=0.0)


def _highest(times_s: Array, values: Array, edges_s: Array) -> Array:
    """Highest value in each column."""
    low = np.clip(np.searchsorted(times_s, edges_s[:-1]), 0, len(values) - 1)
    high = np.maximum(np.clip(np.searchsorted(times_s, edges_s[1:]), 0, len(values)), low + 1)
    return np.array([values[first:last].max() for first, last in zip(low.tolist(), high.tolist(), strict=True)])
