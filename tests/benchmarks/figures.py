"""What a benchmark measures, as data: figures with their bounds, how far they are off, and one table of them all.

Knows nothing of what is measured, and measures nothing.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from enum import StrEnum
from typing import Final, NamedTuple

FAR_OFF: Final = 2.0
"""By more than this factor worse than its bound a figure fails a check: less may be the machine."""
_TO_THE_BOUND: Final = 1.0
_HEAD: Final = ("figure", "here", "bound", "compared to", "")


class Kind(StrEnum):
    """What a figure depends on. Only the first two are ever checked."""

    RATIO = "ratio"  # of two times, or two sizes, of the same run
    COUNT = "count"  # of things, bytes or millimetres: the same on every machine
    TIME = "time"  # of this machine, in this hour


class Figure(NamedTuple):
    """One figure. At most one of the bounds is given; none where nobody has stated any."""

    name: str
    compared_to: str  # for a ratio, what it is a multiple of; for others their unit
    kind: Kind
    at_most: float | None = None
    at_least: float | None = None

    @property
    def bound(self) -> str:
        """The bound in words."""
        if self.at_most is not None:
            return f"≤ {self.at_most:g}"
        return "" if self.at_least is None else f"≥ {self.at_least:g}"

    def off_by(self, value: float) -> float:
        """How many times worse than its bound a value is; up to 1 it is met, and NaN is as bad as can be."""
        if self.at_most is not None:
            return _times(value, self.at_most)
        return 0.0 if self.at_least is None else _times(self.at_least, value)

    def is_far_off(self, value: float) -> bool:
        """Whether a check fails for it."""
        return self.kind is not Kind.TIME and self.off_by(value) > FAR_OFF


def _times(value: float, of: float) -> float:
    """How many times so much; a count of something that must be none has no half measures."""
    if math.isnan(value) or math.isnan(of):
        return math.inf
    if of <= 0.0:
        return math.inf if value > of else 0.0
    return value / of


def ratio(name: str, to: str, *, at_most: float | None = None, at_least: float | None = None) -> Figure:
    """Give a ratio of two times, or two sizes, of the same run."""
    return Figure(name, to, Kind.RATIO, at_most, at_least)


def count(name: str, of: str, *, at_most: float | None = None, at_least: float | None = None) -> Figure:
    """Give a number that is the same on every machine."""
    return Figure(name, of, Kind.COUNT, at_most, at_least)


def of_this_machine(name: str, unit: str, *, at_most: float | None = None, at_least: float | None = None) -> Figure:
    """Give a time or a speed of this machine in this hour: shown, never checked."""
    return Figure(name, unit, Kind.TIME, at_most, at_least)


class Measured(NamedTuple):
    """One row of the table: a figure as it was found."""

    figure: Figure
    value: float

    @property
    def verdict(self) -> str:
        """How it stands to its bound."""
        if not self.figure.bound:
            return ""
        if self.figure.off_by(self.value) <= _TO_THE_BOUND:
            return "met"
        return "MORE THAN TWICE OFF" if self.figure.is_far_off(self.value) else "missed"


def measured(figures: Sequence[Figure], values: Mapping[str, float]) -> list[Measured]:
    """Join what was found to what is said of it; a value without a figure, or the other way round, is a mistake."""
    names = [figure.name for figure in figures]
    if sorted(names) != sorted(values):
        raise ValueError(f"measured {sorted(values)}; the module states {sorted(names)}")
    return [Measured(figure, values[figure.name]) for figure in figures]


def lines(sections: Mapping[str, Sequence[Measured]]) -> Iterator[str]:
    """Lay out one table of all sections, columns aligned."""
    rows = {title: [_cells(each) for each in found] for title, found in sections.items()}
    every = [_HEAD, *(row for cells in rows.values() for row in cells)]
    widths = [max(map(len, column)) for column in zip(*every, strict=True)]
    yield _laid_out(_HEAD, widths)
    for title, cells in rows.items():
        yield f"\n{title}"
        for row in cells:
            yield _laid_out(row, widths)


def _cells(found: Measured) -> Sequence[str]:
    figure = found.figure
    return figure.name, _short(found.value), figure.bound, figure.compared_to, found.verdict


def _short(value: float) -> str:
    """Three digits that count, large numbers whole.

    >>> _short(0.01234), _short(5.678), _short(18572.3), _short(0.0)
    ('0.0123', '5.68', '18,572', '0')
    """
    thousand = 1000.0
    return f"{value:,.0f}" if abs(value) >= thousand else f"{value:.3g}"


def _laid_out(cells: Sequence[str], widths: Sequence[int]) -> str:
    name, value, bound, to, verdict = cells
    line = f"  {name:<{widths[0]}}  {value:>{widths[1]}}  {bound:<{widths[2]}}  {to:<{widths[3]}}  {verdict}"
    return line.rstrip()


def far_off(sections: Mapping[str, Sequence[Measured]]) -> list[str]:
    """What fails a check, in words."""
    return [
        f"{title}: {each.figure.name} is {_short(each.value)}, bound {each.figure.bound}"
        for title, found in sections.items()
        for each in found
        if each.figure.is_far_off(each.value)
    ]


def show(title: str, figures: Sequence[Figure], values: Mapping[str, float]) -> str:
    """Lay out the table of one module alone."""
    return "\n".join(lines({title: measured(figures, values)})) + "\n"
