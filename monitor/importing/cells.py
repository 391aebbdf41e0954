"""Cells of a row -> believable values of channels.

Owns what a number in a cell may look like, and what is believed of it: temperatures, set points and shares within their
bounds, feed by a ledger that re-bases counters. Pure; knows nothing of files.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from math import isfinite
from typing import Final

from connectors.feed_ledger import FeedBounds, RunningTotal
from connectors.plausibility import TemperatureBounds
from monitor.importing.import_map import Column

_NUMBER: Final = re.compile(r"[+-]?(?:\d{1,30}(?:\.\d{0,30})?|\.\d{1,30})(?:[eE][+-]?\d{1,3})?", re.ASCII)
_EMPTY: Final = frozenset({"", "-", "--", "nan", "null", "none", "n/a", "na"})
_HIGHEST_FILE_BYTE: Final = 1e15
_BOUNDS: Final = TemperatureBounds()

Check = Callable[[float, float], float | None]
"""Value and time -> what is believed of it, None where nothing is."""


class CellError(Exception):
    """A cell or row that cannot be used; the text says why."""


def number_of(text: str, decimal: str) -> float:
    """The number in a cell.

    Raises CellError for anything else. Thousands are not grouped: 1.234,5 and 1,234.5 could be taken for each other.

    >>> number_of("1,5", ",")
    1.5
    """
    plain = text.strip()
    if decimal == ",":
        plain = "x" if "." in plain else plain.replace(",", ".")
    if not _NUMBER.fullmatch(plain):
        raise CellError("a cell that is no number")
    value = float(plain)
    if not isfinite(value):
        raise CellError("a number that is not finite")
    return value


class CellReader:
    """Reads the cells that are channels.

    Parameters
    ----------
    columns : Mapping[int, Column]
        Place in the row -> what stands there.
    decimal : str
        Decimal mark.
    """

    def __init__(self, columns: Mapping[int, Column], decimal: str) -> None:
        self._columns = columns
        self._decimal = decimal
        self._checks = {at: _check(column) for at, column in columns.items()}

    def read(self, row: Sequence[str], time_s: float) -> tuple[dict[str, float], list[str]]:
        """Values of a row, and what was wrong with it. An empty cell is not reported, and not wrong."""
        values: dict[str, float] = {}
        faults: list[str] = []
        for at, column in self._columns.items():
            if row[at].strip().lower() in _EMPTY:
                continue
            try:
                value = column.scale.ours(number_of(row[at], self._decimal))
            except CellError as error:
                faults.append(f"{column.channel}: {error}")
                continue
            believed = self._checks[at](value, time_s)
            if believed is not None:
                values[column.channel] = believed
            elif column.kind not in {"fed_mm", "sensed_mm"}:
                faults.append(f"{column.channel}: out of range")
        return values, faults


def _check(column: Column) -> Check:
    match column.kind:
        case "temp_c":
            return lambda value, _: value if _BOUNDS.lowest_c <= value <= _BOUNDS.highest_c else None
        case "set_c":
            return lambda value, _: value if 0.0 <= value <= _BOUNDS.highest_c else None
        case "fed_mm" | "sensed_mm":
            return _Feed(is_total=column.counts == "total").take
        case "file_byte":
            return lambda value, _: value if 0.0 <= value <= _HIGHEST_FILE_BYTE else None
        case _:
            return lambda value, _: value if 0.0 <= value <= 1.0 else None


class _Feed:
    """Feed since the first row [mm]; a counter that begins anew does not take back what was fed."""

    def __init__(self, *, is_total: bool) -> None:
        self._is_total = is_total
        self._total = RunningTotal(FeedBounds())
        self._counter_mm = self._fed_mm = 0.0

    def take(self, value: float, time_s: float) -> float | None:
        self._counter_mm = value if self._is_total else self._counter_mm + value
        step_mm = self._total.advance(self._counter_mm, time_s)
        if step_mm is None:
            return None
        self._fed_mm += step_mm
        return self._fed_mm
