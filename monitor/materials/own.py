"""Writes values into the owner's file of materials, and leaves all else in it as it is.

Owns the editing and the safe replacing of that file. Knows nothing of how the values were found.
"""

import os
import tempfile
import tomllib
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

import tomlkit
from tomlkit.exceptions import TOMLKitError

from connectors.clean_text import clean_text
from monitor.exit_codes import WrongUseError
from monitor.materials.known import package_materials
from monitor.materials.tables import Origin, merge
from monitor.text_file import UnreadableError, read_text_file, tables_of

Values = Mapping[str, Mapping[str, Any]]
"""Values of one material: key of a materials file to the parts of its table."""

_OWNER_WRITES: Final = 0o200


class NotWrittenError(WrongUseError):
    """The file was left as it is; the message says why."""


def lines_to_paste(material: str, values: Values) -> str:
    """The lines that say the same, for the owner to copy."""
    return edited("", material, values).strip()


def standing(path: Path, material: str, key: str) -> Any:  # noqa: ANN401 -- whatever TOML may hold there
    """What the file says of a material's value; None where it says nothing."""
    table = tomllib.loads(_text_of(path)).get(material)
    return table.get(key) if isinstance(table, dict) else None


def edited(text: str, material: str, values: Values) -> str:
    """The text of a materials file with the values in it, comments and all else kept.

    Raises
    ------
    NotWrittenError
        When that cannot be done without changing something else.
    """
    with suppress(TOMLKitError, tomllib.TOMLDecodeError, TypeError, ValueError, AttributeError, KeyError):
        wanted = tomllib.loads(text)
        wanted.setdefault(material, {}).update(values)
        new = _with_values(text, material, values)
        if tomllib.loads(new) == wanted:
            return new
    raise NotWrittenError(f"the table of {clean_text(material)} cannot be edited safely as it is written there")


def write_values(path: Path, material: str, values: Values) -> None:
    """Put values into the owner's file; it is replaced as a whole, or left as it is.

    A new file is for the owner's eyes only; an old one keeps its permissions, and a link to it stays a link.

    Raises
    ------
    NotWrittenError
        When the file is not to be written, or would be faulty.
    """
    target = path.resolve()
    text = _text_of(target)
    new = edited(text, material, values)
    try:
        faults = merge(package_materials().entries, tables_of(new), Origin(str(path))).faults
    except UnreadableError as error:
        raise NotWrittenError(f"{clean_text(str(path))}: {error}") from error
    if faults:
        raise NotWrittenError("; ".join(map(str, faults)))
    try:
        _replace(target, text, new)
    except OSError as error:
        raise NotWrittenError(f"{clean_text(str(path))} cannot be written: {error.strerror}") from error


def _text_of(path: Path) -> str:
    """The file's text; empty where there is no such file."""
    if not path.exists():
        return ""
    try:
        return read_text_file(path)
    except UnreadableError as error:
        raise NotWrittenError(f"{clean_text(str(path))}: {error}") from error


def _with_values(text: str, material: str, values: Values) -> str:
    has_cr = "\r\n" in text
    document = tomlkit.parse(text.replace("\r\n", "\n"))
    is_new = material not in document
    table: Any = tomlkit.table() if is_new else document[material]
    for key, parts in values.items():
        value = tomlkit.inline_table()
        value.update(parts)
        table.pop(key, None)
        table[key] = value
    if is_new:
        if text.strip():
            document.add(tomlkit.nl())
        document.append(tomlkit.key(material), table)
    new = tomlkit.dumps(document)
    return new.replace("\n", "\r\n") if has_cr else new


def _replace(target: Path, old: str, new: str) -> None:
    """Replace the file by a new one beside it, which has its place only when it is whole and on the disk."""
    mode = target.stat().st_mode & 0o777 if target.exists() else 0o600
    if not mode & _OWNER_WRITES:  # it could be replaced all the same, against its owner's will
        raise PermissionError(13, "it is read-only (chmod u+w lets strandwatch write it)")
    target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    descriptor, name = tempfile.mkstemp(prefix=".materials-", dir=target.parent)
    try:
        with os.fdopen(descriptor, "w", encoding="utf-8", newline="") as file:
            os.fchmod(file.fileno(), mode)
            file.write(new)
            file.flush()
            os.fsync(file.fileno())
        _check_unchanged(target, old)
        Path(name).replace(target)
    except BaseException:
        with suppress(OSError):
            Path(name).unlink()
        raise


def _check_unchanged(target: Path, old: str) -> None:
    if _text_of(target) != old:
        raise NotWrittenError("the file was changed meanwhile; nothing was written")
