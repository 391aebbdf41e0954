"""The columns of the table of strands, and which of them fit a width.

A column that does not fit whole is left out, least needed first; spare width goes to the bar and the names.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from monitor.core.assessment import StrandAssessment
from monitor.tui.dose_bar import dose_bar
from monitor.tui.words import (
    activity,
    full_name_of,
    name_of,
    next_use,
    share_of_limit,
    soft_front,
    time_left,
    time_left_range,
)

Cell = Callable[[StrandAssessment, int], str]
_RANGE_FROM_CELLS: Final = 30
_FULL_NAME_FROM_CELLS: Final = 26


@dataclass(frozen=True, slots=True)
class Column:
    """One column: `cells` it needs, `most` it can use, `rank` (low ranks stay longest), what it shows.

    `doubt` says whether its value gets a question mark when it is not of now.
    """

    title: str
    cells: int
    most: int
    rank: int
    text: Cell
    doubt: bool = True


NEXT_USE: Final = "next use"
"""Shown only where a plan of the build is followed."""

COLUMNS: Final[tuple[Column, ...]] = (
    Column(
        "strand", 8, 36, 2, lambda s, cells: full_name_of(s) if cells >= _FULL_NAME_FROM_CELLS else name_of(s),
        doubt=False,
    ),
    Column("now", 16, 20, 1, activity),
    Column(
        "dose", 10, 60, 3,
        lambda s, cells: dose_bar(s.dose_now_min, s.dose_warn_min, s.dose_limit_min, cells, s.dose_low_min),
        doubt=False,
    ),
    Column("of limit", 8, 8, 6, lambda s, _: share_of_limit(s)),
    Column(
        "left, at least", 17, 30, 0, lambda s, cells: time_left_range(s) if cells >= _RANGE_FROM_CELLS else time_left(s)
    ),
    Column(NEXT_USE, 10, 11, 3, lambda s, _: next_use(s)),
    Column("soft front", 12, 12, 4, lambda s, _: soft_front(s)),
    Column("condition", 12, 12, 5, lambda s, _: s.condition.value),
    Column("hottest/glass", 14, 14, 7, lambda s, _: f"{s.hottest_c:.0f}/{s.glass_c:.0f} °C"),
    Column("wall/must feed", 14, 14, 8, lambda s, _: f"{s.merge_wall_c:.0f}/{s.min_feed_c:.0f} °C"),
)  # fmt: skip

_SPREAD: Final = (("strand", 12), ("dose", 20), ("now", 20), ("left, at least", 30), ("strand", 26), ("dose", 30),
                  ("strand", 36), ("dose", 60))  # fmt: skip
"""Who gets spare cells first, and up to how many."""


def columns_for(width: int, *, has_plan: bool = False) -> list[tuple[Column, int]]:
    """The columns that fit `width` cells with one cell between, each with its own width, in order."""
    kept: list[Column] = []
    possible = [column for column in COLUMNS if has_plan or column.title != NEXT_USE]
    for column in sorted(possible, key=lambda column: column.rank):
        if _needs([*kept, column]) > width and kept:
            break
        kept.append(column)
    shown = [column for column in COLUMNS if column in kept]
    return _spread(shown, width - _needs(shown))


def _needs(columns: Sequence[Column]) -> int:
    return sum(column.cells for column in columns) + len(columns) - 1


def _spread(columns: Sequence[Column], spare: int) -> list[tuple[Column, int]]:
    cells = {column.title: column.cells for column in columns}
    for title, up_to in _SPREAD:
        if title in cells:
            more = max(0, min(spare, up_to - cells[title]))
            cells[title] += more
            spare -= more
    return [(column, cells[column.title]) for column in columns]
