"""Finds the newest recording of a machine in a directory. Reads first lines only; knows nothing of what they mean."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from connectors.clean_text import clean_text
from connectors.errors import RecordingError
from connectors.recording import LONGEST_HEADER, read_recording
from monitor.recording.place import machine_words

_NAMES: Final = (".jsonl", ".jsonl.gz", ".jsonl.zst")


def newest_recording(directory: Path, machine: str, *, since_s: float | None = None) -> Path | None:
    """The recording of `machine` that was written to last, readable or not; None when there is none.

    Files that hold no whole first line, because their watch was cut off at once, are passed over: there is nothing in
    them. One whose first line is damaged counts as the machine's if its name says so.

    Parameters
    ----------
    directory : Path
        Where to look; it need not exist.
    machine : str
        The machine's name.
    since_s : float or None
        Only what was written to after this time of day [s since the epoch].
    """
    return next((path for path in _newest_first(directory, since_s) if _is_of(path, machine)), None)


def _newest_first(directory: Path, since_s: float | None) -> Iterator[Path]:
    """Recordings by the time at which they were written to last; between equals the name, which begins with a time."""
    try:
        paths = [path for path in directory.iterdir() if path.name.endswith(_NAMES) and path.is_file()]
        found = [(path.stat().st_mtime, path.name, path) for path in paths]
    except OSError:
        return
    for written_s, _, path in sorted(found, reverse=True):
        if since_s is None or written_s >= since_s:
            yield path


def _is_of(path: Path, machine: str) -> bool:
    try:
        return read_recording(path).header.machine == clean_text(machine)
    except RecordingError:
        return _is_named_after(path, machine) and _has_first_line(path)


def _is_named_after(path: Path, machine: str) -> bool:
    words = re.escape(machine_words(machine))
    return re.fullmatch(rf"[\dT-]+_{words}(_\d+)?\.jsonl(\.gz|\.zst)?", path.name) is not None


def _has_first_line(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            return file.readline(LONGEST_HEADER).strip().endswith(b"}")
    except OSError:
        return True
