"""Times in a foreign file -> seconds since its first one, which never run backwards. Pure: it is handed text."""

from datetime import UTC, datetime, timedelta, timezone
from typing import Final

from monitor.importing.cells import CellError, number_of
from monitor.importing.import_map import TimeColumn
from monitor.importing.units import TIME_UNITS

LONGEST_S: Final = 366 * 86_400.0
"""A file that spans more is taken for damaged: one wrong digit of a year would let doses grow for decades."""

_EPOCH: Final = {"epoch_s": 1.0, "epoch_ms": 0.001}
_LATEST_EPOCH_S: Final = 253_402_300_799.0  # the end of the year 9999


class RowTimes:
    """Follows the times of the rows.

    Parameters
    ----------
    column : TimeColumn
        What stands in the column.
    decimal : str
        Decimal mark of numbers.
    """

    def __init__(self, column: TimeColumn, decimal: str = ".") -> None:
        self.start: datetime | None = None
        """Time of day of the first row, where the file tells it."""
        self._column, self._decimal = column, decimal
        self._first_s: float | None = None
        self._last_s = 0.0

    def time_s(self, cell: str | None) -> float:
        """Seconds since the first row; CellError for a time that cannot be read, or runs backwards."""
        if cell is None:
            told_s = self._last_s + (self._column.spacing_s or 1.0) if self._first_s is not None else 0.0
        else:
            told_s = self._told_s(cell.strip())
        if self._first_s is None:
            self._first_s = told_s
            self.start = self._start(told_s)
        time_s = told_s - self._first_s
        if time_s < self._last_s:
            raise CellError("a time before that of the row before")
        if time_s > self._last_s + LONGEST_S:
            raise CellError("a time more than a year after that of the row before")
        self._last_s = time_s
        return time_s

    def _told_s(self, cell: str) -> float:
        unit = self._column.unit
        if unit == "iso8601":
            return iso_s(cell, self._column.utc_offset_h)
        value = number_of(cell, self._decimal)
        if unit in _EPOCH:
            return epoch_s(value * _EPOCH[unit])
        return value * TIME_UNITS[unit]

    def _start(self, told_s: float) -> datetime | None:
        is_of_day = self._column.column is not None and self._column.unit not in TIME_UNITS
        return datetime.fromtimestamp(told_s, UTC).astimezone(_zone(self._column.utc_offset_h)) if is_of_day else None


def iso_s(text: str, utc_offset_h: float | None) -> float:
    """Seconds since 1970 of a time in ISO 8601; without an offset of its own it is at `utc_offset_h`, or local.

    Raises CellError for anything else.

    >>> iso_s("1970-01-02T00:00:00.5Z", None)
    86400.5
    """
    try:
        moment = datetime.fromisoformat(text.strip())
        if moment.tzinfo is None:
            moment = moment.replace(tzinfo=_zone(utc_offset_h) or datetime.now().astimezone().tzinfo)
        return epoch_s(moment.timestamp())
    except (ValueError, OverflowError):
        raise CellError("a time that is not in ISO 8601, such as 2026-11-25T22:00:00") from None


def epoch_s(value: float) -> float:
    """Seconds since 1970, if the year has four digits; raises CellError otherwise."""
    if not 0.0 <= value <= _LATEST_EPOCH_S:
        raise CellError("a time that is none of day: not from 1970 to 9999")
    return value


def _zone(utc_offset_h: float | None) -> timezone | None:
    return None if utc_offset_h is None else timezone(timedelta(hours=utc_offset_h))
