"""Time stamps that a logger put before each line of a log, and the marks of who spoke.

Pure: it is handed lines. Knows forms of stamps, nothing of what the lines say.
"""

import re
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta, timezone
from typing import Final, NamedTuple

from monitor.exit_codes import WrongUseError
from monitor.importing.cells import CellError
from monitor.importing.import_map import LineMarks
from monitor.importing.row_times import LONGEST_S, epoch_s, iso_s

_GAP: Final = rb"[ \t:,;|]{1,8}"
_PLAIN: Final = rb"\d{1,16}(?:\.\d{1,9})?"
_DAY_TIME: Final = rb"\d{1,2}:\d{2}:\d{2}(?:[.,]\d{1,9})?"
_ISO: Final = rb"\d{4}-\d{2}-\d{2}[T ]" + _DAY_TIME + rb"(?:Z|[+-]\d{2}:?\d{2})?"


def _form(stamp: bytes) -> re.Pattern[bytes]:
    """A stamp at the beginning of a line, bare or in brackets."""
    return re.compile(
        rb"[ \t]{0,8}(?:\[[ ]{0,8}(" + stamp + rb")\](?:" + _GAP + rb")?|(" + stamp + rb")" + _GAP + rb")"
    )


FORMS: Final = {
    "iso8601": _form(_ISO),
    "clock": _form(_DAY_TIME),
    "s": _form(_PLAIN),
    "epoch_s": _form(_PLAIN),
    "epoch_ms": _form(_PLAIN),
}
LOOKED_AT: Final = 200
"""Lines by which the form of the stamps is found."""
_ENOUGH: Final = 0.9
_EPOCH_FROM: Final = 1e9
_EPOCH_MS_FROM: Final = 1e12
_DAY_S: Final = 86_400.0
DISORDER_S: Final = 1.0
"""Lines that a logger wrote in the wrong order by so little keep their order, and the later time [s]."""


class Stamped(NamedTuple):
    """A line of the machine's, without its stamp and mark, at its time [s since the first]."""

    time_s: float
    content: bytes


def find_form(lines: Iterable[bytes]) -> str:
    """The form of stamp that at least nine lines of ten begin with, or "none".

    >>> find_form([b"[0.5] ok", b"[1.0] ok"]), find_form([b"ok T:20.0"])
    ('s', 'none')
    """
    known = [line for line in lines if line.strip()][:LOOKED_AT]
    for name in ("iso8601", "clock", "s"):
        fits = [found for line in known if (found := FORMS[name].match(line))]
        if known and len(fits) >= _ENOUGH * len(known):
            return _number_form(float(_stamp(fits[0]))) if name == "s" else name
    return "none"


def _number_form(first: float) -> str:
    if first >= _EPOCH_MS_FROM:
        return "epoch_ms"
    return "epoch_s" if first >= _EPOCH_FROM else "s"


class StampReader:
    """Takes stamps and marks off lines.

    Parameters
    ----------
    marks : LineMarks
        What the owner says of them.
    form : str
        Form of the stamps, by the owner's word or by `find_form`.

    Raises
    ------
    WrongUseError
        When lines have no stamps and nothing says how far apart they are.
    """

    def __init__(self, marks: LineMarks, form: str) -> None:
        if form == "none" and marks.spacing_s is None:
            raise WrongUseError(
                "the lines have no time stamps. Say how far apart they are, as in --spacing 1 (seconds), or in a map"
                ' what their stamps look like: [lines] stamps = "clock"'
            )
        self.start: datetime | None = None
        """Time of day of the first line, where the stamps tell it."""
        self._marks, self._form = marks, form
        self._received = None if marks.received is None else marks.received.encode()
        self._sent = None if marks.sent is None else marks.sent.encode()
        self._first_s: float | None = None
        self._time_s = self._days_s = self._clock_s = 0.0

    def take(self, line: bytes) -> Stamped | None:
        """The machine's words in a line; None where somebody else speaks. CellError for a stamp that makes no sense."""
        stamp, rest = self._taken_off(line)
        if stamp is not None:
            self._advance(self._told_s(stamp))
        elif self._form == "none":
            self._advance(self._time_s + (self._marks.spacing_s or 1.0) if self._first_s is not None else 0.0)
        if self._sent is not None and rest.startswith(self._sent):
            return None
        if self._received is None:
            return Stamped(self._time_s, rest)
        return Stamped(self._time_s, rest.removeprefix(self._received)) if rest.startswith(self._received) else None

    def _taken_off(self, line: bytes) -> tuple[bytes | None, bytes]:
        found = None if self._form == "none" else FORMS[self._form].match(line)
        return (None, line) if found is None else (_stamp(found), line[found.end() :])

    def _told_s(self, stamp: bytes) -> float:
        text = stamp.decode("ascii").replace(",", ".")
        if self._form == "iso8601":
            return iso_s(text, self._marks.utc_offset_h)
        if self._form == "clock":
            return self._clock(text)
        if self._form == "s":
            return float(text)
        return epoch_s(float(text) * (0.001 if self._form == "epoch_ms" else 1.0))

    def _clock(self, text: str) -> float:
        """Seconds of a time of day; one that is more than half a day back belongs to the day after."""
        hours, minutes, seconds = text.split(":")
        clock_s = 3600.0 * int(hours) + 60.0 * int(minutes) + float(seconds)
        if clock_s < self._clock_s - _DAY_S / 2.0:
            self._days_s += _DAY_S
        self._clock_s = clock_s
        return self._days_s + clock_s

    def _advance(self, told_s: float) -> None:
        if self._first_s is None:
            self._first_s = told_s
            self.start = self._start(told_s)
        time_s = told_s - self._first_s
        if time_s > self._time_s + LONGEST_S:
            raise CellError("a time more than a year after that of the line before")
        if time_s < self._time_s - DISORDER_S:
            raise CellError("a time before that of the line before")
        self._time_s = max(self._time_s, time_s)

    def _start(self, told_s: float) -> datetime | None:
        if self._form not in {"iso8601", "epoch_s", "epoch_ms"}:
            return None
        offset_h = self._marks.utc_offset_h
        zone = None if offset_h is None else timezone(timedelta(hours=offset_h))
        return datetime.fromtimestamp(told_s, UTC).astimezone(zone)


def _stamp(found: re.Match[bytes]) -> bytes:
    return found[1] if found[1] is not None else found[2]
