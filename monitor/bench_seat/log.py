"""The log of step tests: one line of JSON for each, with all its attempts, beside the owner's materials.

Owns its format: an object a line, `kind` "bench", `version` where it is not 1. A line that cannot be read, or is of a
newer version, is passed over and counted.
"""

import json
import os
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final, Literal, NamedTuple

import msgspec

from connectors.clean_text import clean_text
from monitor.bench.attempts import Attempt
from monitor.bench.job import Job
from monitor.bench.report import Row
from monitor.bench.result import Result

LOG_FILE: Final = "bench.jsonl"
VERSION: Final = 1
"""Rises when an older program could misread a line."""
_LARGEST_BYTES: Final = 20_000_000


def log_beside(materials: Path) -> Path:
    """Place of the log that belongs to a file of materials."""
    return materials.with_name(LOG_FILE)


class _Version(msgspec.Struct):
    """What a line of any version has."""

    kind: Literal["bench"]
    version: int = 1


class _Entry(msgspec.Struct):
    """What the table needs of a line."""

    kind: Literal["bench"]
    at: str
    machine: str
    material: str
    maker_c: tuple[float, float] | None = None
    nozzle_c: float | None = None
    min_feed_c: float | None = None
    low_c: float | None = None
    high_c: float | None = None
    slip: float | None = None


_VERSION_OF: Final = msgspec.json.Decoder(_Version)
_ENTRY_OF: Final = msgspec.json.Decoder(_Entry)


class Log(NamedTuple):
    """The results in a log, oldest first; how many lines could not be read; newest version beyond ours, or 0."""

    rows: list[Row]
    unread: int
    newer_version: int = 0

    @property
    def note(self) -> str:
        """What is to be told of lines that were passed over; empty when there are none."""
        if not self.unread:
            return ""
        note = f"lines that could not be read and are passed over: {self.unread}"
        if not self.newer_version:
            return note
        return (
            f"{note}; some are of version {self.newer_version} of the log, this program reads up to version {VERSION}:"
            " install a newer strandwatch to see them"
        )


def entry_data(
    job: Job, result: Result, *, at: str, maker_c: tuple[float, float] | None, why: str, recording: str
) -> dict[str, Any]:
    """One test as plain data."""
    feeding = result.feeding
    return {
        "kind": "bench",
        "at": at,
        "machine": job.machine,
        "input": job.input,
        "material": job.material,
        "label": job.label,
        "maker_c": maker_c,
        "nozzle_c": job.nozzle_c,
        "speed_mm_s": job.speed_mm_s,
        "flow_mm3_s": round(job.flow_mm3_s, 3),
        "confidence": job.span.confidence,
        "ending": None if result.ending is None else str(result.ending),
        "why": why,
        "min_feed_c": result.min_feed_c,
        "low_c": None if feeding is None else round(feeding.low_c, 2),
        "high_c": None if feeding is None else round(feeding.high_c, 2),
        "slip": None if result.slip is None else round(result.slip, 5),
        "recording": recording,
        "attempts": [attempt_data(attempt) for attempt in result.attempts],
    }


def attempt_data(attempt: Attempt) -> dict[str, Any]:
    """One attempt as plain data."""
    return {key: round(value, 3) if isinstance(value, float) else value for key, value in asdict(attempt).items()}


def append(path: Path, data: dict[str, Any]) -> None:
    """Add a line to the log, made for the owner's eyes only where it is new; raises OSError."""
    line = json.dumps(data, ensure_ascii=False, allow_nan=False) + "\n"
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    descriptor = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT, 0o600)
    try:
        size = os.fstat(descriptor).st_size
        is_torn = size > 0 and os.pread(descriptor, 1, size - 1) != b"\n"
        os.write(descriptor, (b"\n" if is_torn else b"") + line.encode())
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def read(path: Path) -> Log:
    """Read a log; one that is not there is empty. Raises OSError for one that cannot be read."""
    rows, newest = list[Row](), 0
    if not path.exists():
        return Log(rows, 0)
    with path.open("rb") as file:
        lines = file.read(_LARGEST_BYTES).splitlines()
    for line in filter(None, lines):
        try:
            version = _VERSION_OF.decode(line).version
            newest = max(newest, version)
            rows += [_row(_ENTRY_OF.decode(line))] if version == VERSION else []
        except (msgspec.MsgspecError, UnicodeDecodeError):
            continue
    return Log(rows, sum(map(bool, lines)) - len(rows), newest if newest > VERSION else 0)


def _row(entry: _Entry) -> Row:
    maker = "" if entry.maker_c is None else f"{entry.maker_c[0]:g}–{entry.maker_c[1]:g}"
    return Row(
        material=clean_text(entry.material),
        maker=maker,
        nozzle_c=entry.nozzle_c,
        min_feed_c=entry.min_feed_c,
        low_c=entry.low_c,
        high_c=entry.high_c,
        slip=entry.slip,
        date=clean_text(entry.at)[:10],
        machine=clean_text(entry.machine),
    )
