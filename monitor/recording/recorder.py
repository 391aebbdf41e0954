"""Writes a watch to disk as it happens, so that a crash of the watch loses nothing that was written.

One `os.write` per line puts it in the system's hands at once; a thread of its own asks the system, every few seconds,
to put it on the disk, so that the engine never waits for it. A recording that fails is told in `failure`; the watch
goes on.
"""

import errno
import os
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from math import inf
from pathlib import Path
from typing import Any, Final

from connectors.link import Clock
from connectors.recording import Conclusion, Encoder, Header
from connectors.telemetry import Event
from monitor.recording.place import create_file

CLOCK_EVERY_S: Final = 60.0
"""Spacing of the lines that pair our clock with the wall clock [s of the recording]."""

RETRY_EVERY_S: Final = 10.0
"""How long a failed recording waits before it tries the disk again [s]."""


def _utc_now() -> datetime:
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class Seam:
    """Where a recording that ended, or was cut off, is gone on with: the file, and what is written at the seam."""

    path: Path
    descriptor: int  # open for reading and appending, locked; the recorder closes it
    lines: Sequence[Conclusion]


class Recorder:
    """Appends events and conclusions to a file. Used from one thread.

    Parameters
    ----------
    where : Path or None
        A new file's name ending in ``.jsonl``, or a directory; None for the user's own directory of recordings.
    header : Header
        Opens the recording. At a seam it is not written again; its columns are those that hold there.
    seam : Seam or None
        The recording to go on with; None for a new one. `where` means nothing then.
    sync_every_s : float
        At most this much is lost when the power fails [s].
    clock : Clock
        The session's clock, the same that stamps its events.
    wall : callable
        Gives the time of day.

    Raises
    ------
    RecordingError
        When the file cannot be created. Whatever fails later is told in `failure`.
    """

    def __init__(
        self,
        where: Path | None,
        header: Header,
        *,
        seam: Seam | None = None,
        sync_every_s: float = 2.0,
        clock: Clock,
        wall: Callable[[], datetime] = _utc_now,
    ) -> None:
        self.failure: str | None = None
        """What went wrong with the recording, for the owner to see; None while all is well."""
        self._seam = seam
        self.path, self._file = create_file(where, header) if seam is None else (seam.path, seam.descriptor)
        self._open = True
        self._encoder = Encoder(header)
        self._clock, self._wall = clock, wall
        self._next_clock_s = -inf
        self._lost, self._retry_at_s = 0, -inf
        self._sync_failure: str | None = None
        self._is_begun = False
        self._begin()
        self._stop = threading.Event()
        self._syncer = threading.Thread(
            target=self._sync_now_and_then, args=(sync_every_s,), name="recording sync", daemon=True
        )
        self._syncer.start()

    def record_event(self, event: Event) -> None:
        """Append an event. Never raises."""
        if event.time_s >= self._next_clock_s:
            self._next_clock_s = event.time_s + CLOCK_EVERY_S
            self.record_conclusion("clock", self._clock(), {"wall": self._wall()})
        self._append(lambda: self._encoder.encode(event))

    def record_conclusion(self, kind: str, time_s: float, data: Mapping[str, Any]) -> None:
        """Append a conclusion in plain data (see `monitor.plain_data`). Never raises."""
        self._append(lambda: self._encoder.encode_conclusion(kind, time_s, data))

    def sync(self) -> None:
        """Have the system put on the disk what was written so far; may take as long as the disk takes."""
        if not self._open:
            return
        try:
            os.fdatasync(self._file)
            self._sync_worked()
            if os.fstat(self._file).st_nlink == 0:
                self.failure = f"recording lost: {self.path} was deleted while it was written; the watch goes on"
        except OSError as error:
            self._fail(error)
            self._sync_failure = self.failure

    def close(self, reason: str = "the watch ended") -> None:
        """Write the end line, put everything on the disk and close the file; a failed recording is tried once more."""
        if not self._open:
            return
        self._retry_at_s = -inf
        self.record_conclusion("end", self._clock(), {"reason": reason})
        self._stop.set()
        self._syncer.join()
        self.sync()
        self._open = False
        os.close(self._file)

    def discard(self) -> None:
        """Close the file and remove it, because nothing came that could be recorded. What was there before stays."""
        if not self._open:
            return
        self._stop.set()
        self._syncer.join()
        self._open = False
        with suppress(OSError):
            if self._seam is None and os.path.samestat(os.fstat(self._file), self.path.stat()):
                self.path.unlink()
        os.close(self._file)

    def _sync_worked(self) -> None:
        """Take back that the disk fails. What it was asked to keep meanwhile it need not have kept (fsync(2))."""
        if self._sync_failure is not None and self.failure == self._sync_failure:
            self.failure = "the disk failed for a while, and works again: the recording may lack what came just before"
        self._sync_failure = None

    def _sync_now_and_then(self, every_s: float) -> None:
        while not self._stop.wait(every_s):
            self.sync()

    def _append(self, encode: Callable[[], bytes]) -> None:
        if not self._open:
            return
        try:
            line = encode()
        except (ValueError, TypeError) as error:  # a mistake of ours, but no reason to end the watch
            self.failure = f"one line was left out of the recording: {error}"
            return
        if self._lost and self._clock() < self._retry_at_s:
            self._lost += 1
            return
        try:
            if self._lost:
                self._resume()
            _write_whole(self._file, line)
        except OSError as error:
            self._lost += 1
            self._fail(error)

    def _begin(self) -> None:
        try:
            self._write_opening()
        except OSError as error:
            self._lost = 1
            self._fail(error)

    def _write_opening(self) -> None:
        """Write the header of a new file, or what stands at a seam."""
        if self._seam is None:
            os.ftruncate(self._file, 0)
            _write_whole(self._file, self._encoder.header_line())
        else:
            _write_all_or_nothing(self._file, _end_of_torn_line(self._file) + self._seam_lines(self._seam))
        self._is_begun = True

    def _seam_lines(self, seam: Seam) -> bytes:
        lines = [self._encoder.encode_conclusion(line.kind, line.time_s, line.data) for line in seam.lines]
        return b"".join([*lines, self._encoder.encode_columns(self._clock())])

    def _resume(self) -> None:
        """Take up a recording that had failed: end the torn line, say what is missing, name the columns again."""
        if not self._is_begun:
            self._write_opening()
        now_s = self._clock()
        gap = {"lines_lost": self._lost, "reason": self.failure or ""}
        resumed = self._encoder.encode_conclusion("gap", now_s, gap) + self._encoder.encode_columns(now_s)
        _write_whole(self._file, b"\n" + resumed)
        self.failure = f"the recording has a gap: {self._lost} lines could not be written; it goes on now"
        self._lost = 0

    def _fail(self, error: OSError) -> None:
        self._retry_at_s = self._clock() + RETRY_EVERY_S
        what = "the disk is full" if error.errno in {errno.ENOSPC, errno.EDQUOT} else error.strerror
        self.failure = f"recording failed: {what} ({self.path}); the watch goes on and keeps trying to record"


def _end_of_torn_line(file: int) -> bytes:
    """What ends the last line of a file where it was cut off in the middle of it."""
    size = os.fstat(file).st_size
    return b"" if size == 0 or os.pread(file, 1, size - 1) == b"\n" else b"\n"


def _write_all_or_nothing(file: int, lines: bytes) -> None:
    """Append several lines; what was written of them is taken back when there is no room for all."""
    size = os.fstat(file).st_size
    try:
        _write_whole(file, lines)
    except OSError:
        with suppress(OSError):
            os.ftruncate(file, size)
        raise


def _write_whole(file: int, line: bytes) -> None:
    """One write for the line; more only where the system took part of it (a full disk, as a rule)."""
    written = os.write(file, line)
    while written < len(line):
        written += os.write(file, line[written:])
