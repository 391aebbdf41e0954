"""Rows of a delimited table (RFC 4180, or with other separators) -> events.

Pure: it is handed numbered lines. A cell that holds a line break is not supported: its line counts as not understood,
so that one stray quotation mark cannot swallow the rest of the file.
"""

import csv
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from connectors.clean_text import clean_text
from connectors.link_health import Complaints
from connectors.telemetry import Event, Execution, LinkChange, Sample
from monitor.exit_codes import WrongUseError
from monitor.importing.cells import CellError, CellReader
from monitor.importing.import_map import Column, ImportMap, TimeColumn, channel_fault
from monitor.importing.row_times import RowTimes
from monitor.importing.silence import ticks_between
from monitor.importing.source_file import Line
from monitor.importing.tally import Tally

MOST_COLUMNS: Final = 2_000
SEPARATORS: Final = (",", ";", "\t", "|")
_SHOWN: Final = 12

Numbered = tuple[int, Event]


@dataclass(frozen=True, slots=True)
class Headings:
    """The first line as understood: where each channel, the time and the state stand. Places count from 0."""

    separator: str
    channels: Mapping[int, Column]
    time: TimeColumn
    time_at: int | None
    execution_at: int | None
    unused: tuple[str, ...]
    count: int


class TableReader:
    """Reads one table from the top; `headings`, `tally` and `start` then tell what was understood.

    Parameters
    ----------
    mapping : ImportMap
        The owner's map; without columns, headings that are names of channels are taken as such.
    """

    def __init__(self, mapping: ImportMap) -> None:
        self.tally = Tally()
        self.headings: Headings | None = None
        self.start: datetime | None = None
        """Time of day of the first row, where the table tells it."""
        self._map = mapping
        self._complaints = Complaints()
        self._last_s: float | None = None

    @property
    def notes(self) -> Iterator[str]:
        """What the owner should know of how the table was taken."""
        if self.headings is None:
            return
        yield f"separator {_separator_name(self.headings.separator)}, decimal {self._map.decimal!r}"
        if self.headings.unused:
            shown = ", ".join(map(repr, self.headings.unused[:_SHOWN]))
            more = len(self.headings.unused) - _SHOWN
            yield f"columns not used: {shown}{f' and {more} more' if more > 0 else ''}"

    def events(self, lines: Iterable[Line]) -> Iterator[Numbered]:
        """Events with the number of the line that each comes from.

        Raises
        ------
        WrongUseError
            When the headings do not fit the map.
        """
        rest = iter(lines)
        first = next((line for line in rest if line.content.strip()), None)
        headings = self.headings = self._read_headings(first)
        times = RowTimes(headings.time, self._map.decimal)
        cells = CellReader(headings.channels, self._map.decimal)
        yield 1, LinkChange(0.0, available=True, reason="the table begins")
        for line in rest:
            if line.content.strip():
                yield from self._row(line, headings, times, cells)
        self.start = times.start

    def _read_headings(self, first: Line | None) -> Headings:
        if first is None:
            raise WrongUseError("the table is empty: its first line should name the columns")
        if not first.is_whole:
            raise WrongUseError("the first line is longer than 1 MiB; it should name the columns, 2000 at most")
        text = first.content.decode("utf-8", "replace")
        candidates = [mark for mark in SEPARATORS if mark != self._map.decimal]
        separator: str = self._map.separator or max(candidates, key=text.count)
        try:
            names = [name.strip() for name in _split(text, separator)]
        except CellError as error:
            raise WrongUseError(f"the first line should name the columns, but it is {error}") from error
        if len(names) > MOST_COLUMNS:
            raise WrongUseError(f"the table has {len(names)} columns; allowed: at most {MOST_COLUMNS}")
        return _understood(names, separator, self._map)

    def _row(self, line: Line, headings: Headings, times: RowTimes, cells: CellReader) -> Iterator[Numbered]:
        try:
            row = _cells(line, headings)
            time_s = times.time_s(None if headings.time_at is None else row[headings.time_at])
        except CellError as error:
            yield from self._complain(str(error), line)
            return
        yield from ((line.number, tick) for tick in ticks_between(self._last_s, time_s))
        self._last_s = time_s
        values, faults = cells.read(row, time_s)
        for fault in faults:
            yield from self._complain(fault, line)
        execution = self._execution(row, headings, line)
        yield line.number, Sample(time_s, values, execution)

    def _execution(self, row: Sequence[str], headings: Headings, line: Line) -> Execution | None:
        if headings.execution_at is None or not row[headings.execution_at].strip():
            return None
        word = row[headings.execution_at].strip()
        words = {} if self._map.execution is None else self._map.execution.words
        if word in words:
            return words[word]
        if word in Execution.__members__:
            return Execution(word)
        self.tally.take("a state of the program that the map has no word for", line.number, word)
        return None

    def _complain(self, reason: str, line: Line) -> Iterator[Numbered]:
        self.tally.take(reason, line.number, line.content)
        for event in self._complaints.take("table", reason, line.content[:200], self._last_s or 0.0):
            yield line.number, event


def _split(text: str, separator: str) -> list[str]:
    try:
        return next(csv.reader([text], delimiter=separator, strict=True), [])
    except csv.Error as error:
        raise CellError(f"not a row of a table: {error}") from None


def _cells(line: Line, headings: Headings) -> list[str]:
    if not line.is_whole:
        raise CellError("longer than 1 MiB")
    if b"\0" in line.content:
        raise CellError("holds NUL bytes")
    row = _split(line.content.decode("utf-8", "replace"), headings.separator)
    if len(row) > headings.count:
        raise CellError("more cells than headings")
    return row + [""] * (headings.count - len(row))


def _understood(names: Sequence[str], separator: str, mapping: ImportMap) -> Headings:
    columns = mapping.columns or {name: Column(channel=name) for name in names if not channel_fault(name)}
    wanted = [*columns, *([] if mapping.execution is None else [mapping.execution.column])]
    time = mapping.time or (TimeColumn(column="time_s") if "time_s" in names else None)
    if time is None:
        raise WrongUseError(
            f"no column of times: the headings are {_shown(names)}. Say in a map which it is, as in"
            ' [time] column = "Time", unit = "s"; or [time] spacing_s = 1 where there is none'
        )
    wanted += [] if time.column is None else [time.column]
    for name in wanted:
        if names.count(name) != 1:
            how = "no" if name not in names else "more than one"
            raise WrongUseError(f"{how} column is called {clean_text(name)!r}; the headings are {_shown(names)}")
    if not columns:
        raise WrongUseError(
            f"none of the columns is a channel: the headings are {_shown(names)}. Say in a map which is which, as in"
            ' [columns."Hotend"] channel = "temp_c:manifold"'
        )
    state = mapping.execution.column if mapping.execution is not None else "execution"
    return Headings(
        separator=separator,
        channels={names.index(name): column for name, column in columns.items()},
        time=time,
        time_at=None if time.column is None else names.index(time.column),
        execution_at=names.index(state) if state in names else None,
        unused=tuple(clean_text(name, 60) for name in names if name not in {*wanted, state}),
        count=len(names),
    )


def _shown(names: Sequence[str]) -> str:
    shown = ", ".join(repr(clean_text(name, 40)) for name in names[:_SHOWN])
    return f"{shown} and {len(names) - _SHOWN} more" if len(names) > _SHOWN else shown


def _separator_name(separator: str) -> str:
    return "tab" if separator == "\t" else repr(separator)
