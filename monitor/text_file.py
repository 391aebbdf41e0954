"""Reads a small text file of the owner, within bounds, or says in words why it cannot be read."""

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from connectors.clean_text import clean_text

LARGEST_BYTES: Final = 1_000_000
VERSION_KEY: Final = "format_version"
VERSION: Final = 1
"""Of the owner's files; it rises when an older program could misread one. A file without the key is of version 1."""
DEEPEST: Final = 40
_ENDLESS_KEY: Final = re.compile(rf"""(?<![\w"'.-])(?:[\w"'-]++\s*+\.\s*+){{{DEEPEST}}}""")
_LEAST_INTEGER: Final = -(2**63)
_LARGEST_INTEGER: Final = 2**63 - 1


class UnreadableError(Exception):
    """The message says what is wrong with the file and what to do; it does not name the file."""


class NewerVersionError(UnreadableError):
    """The file is of a version that only a newer program can read."""


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


def tables_of(text: str) -> dict[str, Any]:
    """Read TOML, without the key that says which version of our files it is.

    Raises
    ------
    UnreadableError
        When it is none, or of a newer version; also for what the library lets pass or fails at: whole numbers beyond 64
        bits (TOML 1.0.0, "Integer"), which nothing could be told about without their thousands of digits, and tables in
        tables without end, for which it needs the square of their depth in time.
    """
    if _ENDLESS_KEY.search(text):
        raise UnreadableError(f"not TOML for us: a key of {DEEPEST} parts or more")
    try:
        tables = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # ValueError: of TOML itself, and of numbers with too many digits
        raise UnreadableError(f"not TOML: {clean_text(str(error))}") from error
    for value, depth in _values(tables):
        if depth > DEEPEST:
            raise UnreadableError(f"not TOML for us: tables or lists more than {DEEPEST} deep")
        if isinstance(value, int) and not _LEAST_INTEGER <= value <= _LARGEST_INTEGER:
            raise UnreadableError("not TOML: a whole number of more than 64 bits")
    _take_version(tables)
    return tables


def _take_version(tables: dict[str, Any]) -> None:
    version = tables.pop(VERSION_KEY, VERSION)
    if isinstance(version, bool) or not isinstance(version, int) or version < 1:
        raise UnreadableError(f"{VERSION_KEY} is {clean_text(str(version), 40)!r}; allowed: {VERSION}, or leave it out")
    if version > VERSION:
        raise NewerVersionError(
            f"written in version {version} of its format; this program reads up to version {VERSION}. Install a newer"
            " strandwatch to read it"
        )


def _values(tables: dict[str, Any]) -> Iterator[tuple[object, int]]:
    waiting: list[tuple[object, int]] = [(tables, 0)]
    while waiting:
        value, depth = waiting.pop()
        yield value, depth
        inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
        waiting += [(each, depth + 1) for each in inner]


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
