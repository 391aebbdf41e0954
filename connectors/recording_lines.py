"""Lines of a recording below its header: events and conclusions to bytes and back.

Pure: no file, no clock. `replays/README.md` describes the format. Events are written without loss; what cannot be read
back is skipped and counted, never guessed at.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import isfinite
from numbers import Integral, Real
from typing import Any, Final

import msgspec

from connectors.clean_text import clean_text
from connectors.recording_header import TIME_COLUMNS, Header, clean_data, encode_header
from connectors.telemetry import Event, Execution, LinkChange, Malformed, Sample, Tick

EVENT_KINDS: Final = frozenset({"columns", "link", "malformed"})
"""Kinds of object lines that carry events; every other kind is a conclusion."""

_OWN_KEYS = frozenset({"kind", "time_s"})
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


class Encoder:
    """Turns events and conclusions into lines, in the order of time.

    A channel that has no column yet gets the next one: a line that renames the columns then precedes the sample.

    Parameters
    ----------
    header : Header
        Its `columns` open the order of columns.
    """

    def __init__(self, header: Header) -> None:
        self._header = header
        self._columns = list(header.columns)
        self._known = set(header.columns)
        self._encode = msgspec.json.Encoder(enc_hook=_plain).encode

    def header_line(self) -> bytes:
        """First line of the recording."""
        return encode_header(self._header)

    def encode(self, event: Event) -> bytes:
        """Line of an event, newline included; two lines when it brings a new channel.

        Raises ValueError for a time or a value that is not finite: JSON has no such number.
        """
        if not isfinite(event.time_s):
            raise ValueError(f"time_s is {event.time_s}; allowed: a finite number")
        if isinstance(event, Sample):
            return self._sample(event)
        if isinstance(event, Tick):
            return self._line([event.time_s])
        return self._line(_event_object(event))

    def encode_conclusion(self, kind: str, time_s: float, data: Mapping[str, Any]) -> bytes:
        """Line of a conclusion. Raises ValueError for a kind that events use and for keys the line itself uses."""
        if kind in EVENT_KINDS or not kind:
            raise ValueError(f"kind is {kind!r}; allowed: any word but {', '.join(sorted(EVENT_KINDS))}")
        if taken := _OWN_KEYS & data.keys():
            raise ValueError(f"data has {sorted(taken)}; allowed: any key but those, which the line itself uses")
        if not isfinite(time_s):
            raise ValueError(f"time_s is {time_s}; allowed: a finite number")
        return self._line({"kind": kind, "time_s": time_s, **data})

    def encode_columns(self, time_s: float) -> bytes:
        """Line that names the columns as they are now: needed where lines before it may have been lost."""
        return self._line({"kind": "columns", "time_s": time_s, "columns": [*TIME_COLUMNS, *self._columns]})

    def _sample(self, sample: Sample) -> bytes:
        values = sample.values
        if not all(map(isfinite, values.values())):
            wrong = {name: value for name, value in values.items() if not isfinite(value)}
            raise ValueError(f"values not finite: {wrong}; allowed: finite numbers, and nothing for what is unknown")
        renamed = b"" if values.keys() <= self._known else self._grow(sample)
        row = [sample.time_s, sample.execution, *map(values.get, self._columns)]
        while row[-1] is None and len(row) > len(TIME_COLUMNS):  # what is missing at the end need not be said
            row.pop()
        return renamed + self._line(row)

    def _grow(self, sample: Sample) -> bytes:
        new = [name for name in sample.values if name not in self._known]
        self._columns += new
        self._known.update(new)
        return self.encode_columns(sample.time_s)

    def _line(self, content: object) -> bytes:
        return self._encode(content) + b"\n"


def _plain(value: object) -> object:
    """Numbers of other makes (numpy's are no plain floats) and read-only mappings, as JSON knows them."""
    if isinstance(value, Integral):
        return int(value)
    if isinstance(value, Real):
        return float(value)
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"{type(value).__name__} has no place in a recording; allowed: plain data")


def _event_object(event: LinkChange | Malformed) -> dict[str, object]:
    if isinstance(event, LinkChange):
        return {"kind": "link", "time_s": event.time_s, "available": event.available, "reason": event.reason}
    return {"kind": "malformed", "time_s": event.time_s, "reason": event.reason, "excerpt": event.excerpt}


class _LinkLine(msgspec.Struct):
    time_s: float
    available: bool
    reason: str


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
        data = {key: value for key, value in content.items() if key not in _OWN_KEYS}
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
    return LinkChange(line.time_s, line.available, clean_text(line.reason, _LONGEST_REASON))


def _malformed(line: _MalformedLine) -> Malformed:
    return Malformed(line.time_s, clean_text(line.reason, _LONGEST_REASON), clean_text(line.excerpt, _LONGEST_REASON))
