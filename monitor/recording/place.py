"""Where a recording goes: its directory, its name, and the file itself, locked while it is written.

Knows nothing of what is written in it.
"""

import fcntl
import os
import re
from pathlib import Path
from typing import Final

import platformdirs

from connectors.clean_text import clean_text
from connectors.errors import RecordingError
from connectors.recording import Header

SUFFIX: Final = ".jsonl"
_LONGEST_NAME = 40


def default_directory() -> Path:
    """Directory of recordings when the owner names none."""
    return Path(platformdirs.user_data_dir("strandwatch", appauthor=False)) / "recordings"


def file_name(header: Header) -> str:
    """Name that sorts by time and is safe on every file system, as in ``2026-11-25T22-00-00_garage.jsonl``."""
    return f"{header.start:%Y-%m-%dT%H-%M-%S}_{machine_words(header.machine)}{SUFFIX}"


def machine_words(machine: str) -> str:
    """Part of a file's name that stands for the machine."""
    words = re.sub(r"[^\w.-]+", "-", clean_text(machine))[:_LONGEST_NAME].strip("-.")
    return words or "machine"


def create_file(where: Path | None, header: Header) -> tuple[Path, int]:
    """Create the file of a recording; return its path and a descriptor open for appending.

    Parameters
    ----------
    where : Path or None
        A name ending in ``.jsonl``, which must not exist yet; or a directory, made if missing, in which the recording
        gets a name of its own; None for `default_directory`.

    Raises
    ------
    RecordingError
        When no such file can be created.
    """
    chosen = default_directory() if where is None else where
    try:
        if chosen.suffix and not chosen.is_dir():
            return _create_named(chosen)
        chosen.mkdir(mode=0o700, parents=True, exist_ok=True)
        return _create_numbered(chosen, file_name(header))
    except FileExistsError:
        raise RecordingError(
            f"{_shown(chosen)} exists already, and a recording never overwrites anything. Move it away or choose"
            " another name."
        ) from None
    except OSError as error:
        raise RecordingError(
            f"no recording can be written to {_shown(chosen)}: {error.strerror}. Choose a directory that you may write"
            " to, on a disk with room."
        ) from None


class InUseError(RecordingError):
    """Another process writes to the recording."""


def open_to_append(path: Path) -> int:
    """Open a recording that exists, to go on writing at its end; return a descriptor that holds its lock.

    Raises
    ------
    InUseError
        When another process writes to it.
    RecordingError
        When it cannot be opened for writing, or is gone.
    """
    try:
        descriptor = os.open(path, os.O_RDWR | os.O_APPEND)
    except OSError as error:
        raise RecordingError(f"{_shown(path)} cannot be opened for writing: {error.strerror}") from None
    if not _lock(descriptor):
        os.close(descriptor)
        raise InUseError(
            f"{_shown(path)} is being written by another watch. Two watches must not write to one recording: end the"
            " other one first"
        )
    return descriptor


def _lock(descriptor: int) -> bool:
    """Lock a file for as long as it is open; False when another process has it. Some file systems know no locks."""
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return True
    return True


def _create_named(path: Path) -> tuple[Path, int]:
    if path.suffix != SUFFIX:
        raise RecordingError(
            f"{_shown(path)} is no name for a recording: it should end in {SUFFIX}, or be an existing directory."
        )
    return path, _create(path)


def _create_numbered(directory: Path, name: str) -> tuple[Path, int]:
    """Two watches may start in the same second: the later one gets a number."""
    path, number = directory / name, 1
    while True:
        try:
            return path, _create(path)
        except FileExistsError:
            number += 1
            path = directory / f"{name.removesuffix(SUFFIX)}_{number}{SUFFIX}"


def _create(path: Path) -> int:
    descriptor = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_EXCL, 0o600)
    _lock(descriptor)
    _sync_directory(path.parent)
    return descriptor


def _sync_directory(directory: Path) -> None:
    """Make the file's name as durable as its content."""
    descriptor = os.open(directory, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _shown(path: Path) -> str:
    return clean_text(str(path), 500)
