"""Events and conclusions to lines of a recording, without loss.

Pure: no file, no clock. `replays/README.md` describes the format; `recording_decoder` reads it back.
"""

from collections.abc import Mapping
from math import isfinite
from numbers import Integral, Real
from typing import Any, Final

import msgspec

from connectors.recording_header import TIME_COLUMNS, Header, encode_header
from connectors.telemetry import Event, LinkChange, Malformed, Sample, Tick

EVENT_KINDS: Final = frozenset({"columns", "link", "malformed"})
"""Kinds of object lines that carry events; every other kind is a conclusion."""

LINE_KEYS: Final = frozenset({"kind", "time_s"})
"""Keys of every object line, which no conclusion may use for its own."""


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
        if taken := LINE_KEYS & data.keys():
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
        unknown = {"feed_unknown": True} if event.feed_unknown else {}
        return {"kind": "link", "time_s": event.time_s, "available": event.available, "reason": event.reason, **unknown}
    return {"kind": "malformed", "time_s": event.time_s, "reason": event.reason, "excerpt": event.excerpt}
