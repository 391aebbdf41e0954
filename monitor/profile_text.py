"""The text of a profile's file, or why there is none.

Owns the reading of one file, within bounds. Knows nothing of what stands in it.
"""

from pathlib import Path
from typing import Final

from monitor.profile_faults import Fault, ProfileError

_LARGEST_BYTES: Final = 1_000_000


def unreadable(file_name: str, problem: str) -> ProfileError:
    """Make the error that concerns the file as a whole."""
    return ProfileError([Fault(file_name, "", None, problem)])


def read_text(path: Path) -> str:
    """Read the file.

    Raises
    ------
    ProfileError
        When it cannot be read, or is no text.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(_LARGEST_BYTES + 1)
    except OSError as error:
        raise unreadable(str(path), _reason(error)) from error
    if len(raw) > _LARGEST_BYTES:
        raise unreadable(str(path), f"more than {_LARGEST_BYTES} bytes, larger than any profile; is it another file?")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise unreadable(str(path), f"line {line} is not UTF-8 text; save the file as UTF-8") from error


def _reason(error: OSError) -> str:
    match error:
        case FileNotFoundError():
            return "there is no such file; `strandwatch profile new` writes one"
        case PermissionError():
            return "no permission to read it; run as its owner, or let your user read it (chmod)"
        case IsADirectoryError():
            return "that is a directory; give the profile's file in it"
        case _:
            return f"cannot be read: {error.strerror or error}"
