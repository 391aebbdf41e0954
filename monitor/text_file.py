"""Reads a small text file of the owner, within bounds, or says in words why it cannot be read."""

from pathlib import Path
from typing import Final

LARGEST_BYTES: Final = 1_000_000


class UnreadableError(Exception):
    """The message says what is wrong with the file and what to do; it does not name the file."""


def read_text_file(path: Path) -> str:
    """Read a UTF-8 file of at most `LARGEST_BYTES`.

    Raises
    ------
    UnreadableError
        When it cannot be read, is larger, or is no text.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST_BYTES + 1)
    except OSError as error:
        raise UnreadableError(_reason(error)) from error
    if len(raw) > LARGEST_BYTES:
        raise UnreadableError(
            f"more than {LARGEST_BYTES} bytes, larger than any profile or materials; is it another file?"
        )
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise UnreadableError(f"line {line} is not UTF-8 text; save the file as UTF-8") from error


def _reason(error: OSError) -> str:
    match error:
        case FileNotFoundError():
            return "there is no such file; check the path (`strandwatch profile new` writes a profile)"
        case PermissionError():
            return "no permission to read it; run as its owner, or let your user read it (chmod)"
        case IsADirectoryError():
            return "that is a directory; give the file in it"
        case _:
            return f"cannot be read: {error.strerror or error}; check the path and its permissions"
