"""First line of a recording: what was watched, with which profile, by which program, since when.

Pure: turns a `Header` into a line and back. Knows nothing of files, nor of the lines that follow.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any, Final

import msgspec

from connectors.clean_text import clean_text
from connectors.errors import RecordingError
from connectors.withheld import without_secrets

FORMAT: Final = "strandwatch recording"
VERSION: Final = 1
TIME_COLUMNS: Final = ("time_s", "execution")
"""The two columns that open every sample row, before the channels."""

_LONGEST_TEXT = 10_000
_OPENING: Final = f'{{"format":"{FORMAT}",'.encode()


@dataclass(frozen=True, slots=True)
class Header:
    """What a recording says of itself.

    Parameters
    ----------
    start : datetime
        Wall-clock time of ``time_s = 0``, with its offset from UTC.
    program : str
        Version of strandwatch that wrote the recording.
    machine, source : str
        The machine's name and where its data come from, as cleaned words.
    profile, materials : Mapping[str, Any]
        The whole profile table and the materials used, as plain tables (mappings, sequences, text, numbers). Secrets
        in them are withheld when the line is written.
    stand_ins : sequence of Mapping[str, Any]
        What other materials lent to those that lack values: a table for each input, with the values. Left out of the
        line when there is none.
    columns : tuple of str
        Channels of a sample row, in order, as far as known beforehand; more may follow (see `Encoder`).
    """

    start: datetime
    program: str
    machine: str
    source: str
    profile: Mapping[str, Any]
    materials: Mapping[str, Any]
    columns: tuple[str, ...] = ()
    stand_ins: tuple[Mapping[str, Any], ...] = ()

    def __post_init__(self) -> None:
        if self.start.tzinfo is None:
            raise ValueError(f"start is {self.start.isoformat()}; allowed: a time with its offset from UTC")
        if len(set(self.columns)) != len(self.columns):
            raise ValueError(f"columns are {self.columns}; allowed: each channel once")


class _Head(msgspec.Struct):
    format: str
    version: int


class _Body(msgspec.Struct):
    start: Annotated[datetime, msgspec.Meta(tz=True)]
    program: str
    machine: str
    source: str
    profile: dict[str, Any]
    materials: dict[str, Any]
    columns: list[str]
    stand_ins: list[dict[str, Any]] = []


def encode_header(header: Header) -> bytes:
    """Line, newline included, that opens a recording."""
    line = {
        "format": FORMAT,
        "version": VERSION,
        "start": header.start,
        "program": header.program,
        "machine": header.machine,
        "source": without_secrets(header.source),
        "profile": without_secrets(header.profile),
        "materials": without_secrets(header.materials),
        **({"stand_ins": [dict(table) for table in header.stand_ins]} if header.stand_ins else {}),
        "columns": [*TIME_COLUMNS, *header.columns],
    }
    return msgspec.json.encode(line) + b"\n"


def decode_header(line: bytes, where: str) -> Header:
    """Header in the first line of the file called `where`; raises RecordingError for anything else."""
    line = line.removeprefix(b"\xef\xbb\xbf")  # an editor's byte order mark does no harm
    if not line.strip():
        raise RecordingError(f"{where} is empty, or was cut off before its first line. Choose another recording.")
    _check_format(line, where)
    try:
        body = msgspec.json.decode(line, type=_Body)
        return _header(body)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError, ValueError) as error:
        raise RecordingError(
            f"{where}: the header, line 1, is damaged ({clean_text(str(error))}). The lines below it cannot be read"
            " without it; if you have another copy of the recording, use that."
        ) from None


def _check_format(line: bytes, where: str) -> None:
    try:
        head = msgspec.json.decode(line, type=_Head)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        raise (_cut_off(where) if _is_cut_off(line) else _foreign(where, line)) from None
    if head.format != FORMAT or head.version < 1:
        raise _foreign(where, line)
    if head.version > VERSION:
        raise RecordingError(
            f"{where} was written in version {head.version} of the recording format; this program reads up to version"
            f" {VERSION}. Install a newer strandwatch to read it."
        )


def _is_cut_off(line: bytes) -> bool:
    """Tell whether a line that is no JSON begins as a header of ours does, and has no end."""
    return not line.endswith(b"\n") and line[: len(_OPENING)] == _OPENING[: len(line)]


def _cut_off(where: str) -> RecordingError:
    return RecordingError(
        f"{where} begins like a recording of strandwatch, but its first line is incomplete: the file was cut off there."
        " Nothing can be read from it; if you have another copy of the recording, use that."
    )


def _foreign(where: str, line: bytes) -> RecordingError:
    return RecordingError(
        f'{where} is not a recording of strandwatch: line 1 should be a header with "format": "{FORMAT}", but it'
        f" begins {clean_text(line[:200], 40)!r}. Give a file that strandwatch has recorded (.jsonl, .jsonl.gz or"
        " .jsonl.zst)."
    )


def _header(body: _Body) -> Header:
    opening, channels = tuple(body.columns[: len(TIME_COLUMNS)]), body.columns[len(TIME_COLUMNS) :]
    if opening != TIME_COLUMNS:
        raise ValueError(f"columns begin with {opening}; allowed: {TIME_COLUMNS}")
    return Header(
        start=body.start,
        program=clean_text(body.program),
        machine=clean_text(body.machine),
        source=clean_text(body.source),
        profile=clean_data(body.profile),
        materials=clean_data(body.materials),
        stand_ins=tuple(map(clean_data, body.stand_ins)),
        columns=tuple(clean_text(name) for name in channels),
    )


def clean_data(value: Any) -> Any:  # noqa: ANN401 -- any decoded JSON
    """Decoded JSON with every text in it passed through the cleaning door."""
    if isinstance(value, dict):
        return {clean_text(key): clean_data(item) for key, item in value.items()}
    if isinstance(value, list):
        return [clean_data(item) for item in value]
    return clean_text(value, _LONGEST_TEXT) if isinstance(value, str) else value
