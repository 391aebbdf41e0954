"""Lines of a recording back to events and conclusions, in whatever state the lines are.

Pure: no file, no clock. What cannot be read is skipped and counted, never guessed at.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import msgspec

from connectors.clean_text import clean_text
from connectors.recording_encoder import LINE_KEYS
from connectors.recording_header import TIME_COLUMNS, Header, clean_data
from connectors.telemetry import Event, Execution, LinkChange, Malformed, Sample, Tick

_LONGEST_REASON = 1000
_UNREADABLE = (msgspec.DecodeError, UnicodeDecodeError, RecursionError)


@dataclass(frozen=True, slots=True)
class Conclusion:
    """Something the watch concluded or was told, in plain data: an alert's change, an assessment, an acknowledgement.

    `data` holds all of the line but its kind and time.
    """

    kind: str
    time_s: float
    data: Mapping[str, Any]


class _LinkLine(msgspec.Struct):
    time_s: float
    available: bool
    reason: str
    feed_unknown: bool = False


class _MalformedLine(msgspec.Struct):
    time_s: float
    reason: str
    excerpt: str


class _ColumnsLine(msgspec.Struct):
    columns: list[str]


class Decoder:
    """Turns whole lines back into events and conclusions, in any state they may be in.

    `skipped` counts lines that could not be read. `another_begins` is true from the moment a second header turns up:
    what follows it belongs to another recording, with columns and times of its own.
    """

    def __init__(self, header: Header) -> None:
        self.skipped = 0
        self.another_begins = False
        self._columns = header.columns
        self._row = _row_reader(len(header.columns))
        self._object = msgspec.json.Decoder(dict[str, Any]).decode

    @property
    def columns(self) -> tuple[str, ...]:
        """Channels of a sample row, in order, as they stand by now."""
        return self._columns

    def decode(self, line: bytes) -> Event | Conclusion | None:
        """Content of one line; None for a line that carries none, or that cannot be read (then it is counted)."""
        try:
            if line.startswith(b"["):
                return self._from_row(line)
            return self._from_object(line) if line.strip() else None
        except _UNREADABLE:
            self.skipped += 1
            return None

    def _from_row(self, line: bytes) -> Sample | Tick:
        time_s, execution, *row = self._row(line)
        if b"," not in line:
            return Tick(time_s)
        values = dict(zip(self._columns, row, strict=True))
        if None in row:
            values = {name: value for name, value in values.items() if value is not None}
        return Sample(time_s, values, execution)

    def _from_object(self, line: bytes) -> Event | Conclusion | None:
        content = self._object(line)
        if "format" in content and "kind" not in content:
            self.another_begins = True
            return None
        kind, time_s = content.get("kind"), content.get("time_s")
        if kind == "columns":
            self._rename(content)
            return None
        if kind == "link":
            return _link_change(msgspec.convert(content, _LinkLine))
        if kind == "malformed":
            return _malformed(msgspec.convert(content, _MalformedLine))
        data = {key: value for key, value in content.items() if key not in LINE_KEYS}
        return Conclusion(clean_text(_text(kind)), msgspec.convert(time_s, float), clean_data(data))

    def _rename(self, content: dict[str, Any]) -> None:
        names = msgspec.convert(content, _ColumnsLine).columns
        columns = tuple(clean_text(name) for name in names[len(TIME_COLUMNS) :])
        if columns[: len(self._columns)] != self._columns or len(set(columns)) != len(columns):
            raise msgspec.ValidationError("columns may only be added")
        self._columns = columns
        self._row = _row_reader(len(columns))


def _row_reader(channels: int) -> Callable[[bytes], tuple[Any, ...]]:
    """Decoder of rows of up to `channels` values: a short row lacks its end, a long one has lost its columns line."""
    fields: list[tuple[str, Any, Any]] = [(f"value_{place}", float | None, None) for place in range(channels)]
    row = msgspec.defstruct(
        "Row", [("time_s", float), ("execution", Execution | None, None), *fields], array_like=True, gc=False
    )
    decode = msgspec.json.Decoder(row).decode
    as_tuple = msgspec.structs.astuple
    return lambda line: as_tuple(decode(line))


def _text(value: object) -> str:
    return msgspec.convert(value, str)


def _link_change(line: _LinkLine) -> LinkChange:
    return LinkChange(line.time_s, line.available, clean_text(line.reason, _LONGEST_REASON), line.feed_unknown)


def _malformed(line: _MalformedLine) -> Malformed:
    return Malformed(line.time_s, clean_text(line.reason, _LONGEST_REASON), clean_text(line.excerpt, _LONGEST_REASON))
