"""Writes limits that the owner accepted into the owner's file of materials, and leaves all else in it as it is."""

import os
import tempfile
import tomllib
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

import tomlkit
from tomlkit.exceptions import TOMLKitError

from connectors.clean_text import clean_text
from monitor.archive.proposal import Proposal
from monitor.exit_codes import WrongUseError
from monitor.material_tables import Origin, merge
from monitor.materials import package_materials
from monitor.text_file import UnreadableError, read_text_file

_OWNER_WRITES: Final = 0o200


def values_of(proposal: Proposal) -> dict[str, dict[str, Any]]:
    """The limits as values of a materials file."""
    vouched = {"status": "own", "source": proposal.source}
    limit = {"value": proposal.limit_min, "low": proposal.low_min, "high": proposal.high_min}
    return {
        "warn_min": {"value": proposal.warn_min, **vouched},
        "limit_min": {**limit, **vouched, "note": proposal.note},
    }


def lines_to_paste(proposal: Proposal) -> str:
    """The lines that say the same, for the owner to copy."""
    return edited("", proposal).strip()


def edited(text: str, proposal: Proposal) -> str:
    """The text of a materials file with the limits in it, comments and all else kept.

    Raises
    ------
    WrongUseError
        When that cannot be done without changing something else.
    """
    try:
        wanted = tomllib.loads(text)
        wanted.setdefault(proposal.material, {}).update(values_of(proposal))
        new = _with_values(text, proposal)
        if tomllib.loads(new) == wanted:
            return new
    except (TOMLKitError, tomllib.TOMLDecodeError, TypeError, ValueError, AttributeError, KeyError):
        pass
    raise WrongUseError(
        f"the table of {clean_text(proposal.material)} cannot be edited safely as it is written there; paste by hand:\n"
        f"{lines_to_paste(proposal)}"
    )


def accept(path: Path, proposal: Proposal) -> None:
    """Put the limits into the owner's file: replaced as a whole, or left as it is.

    Raises
    ------
    WrongUseError
        When the file is not to be written, or would be faulty.
    """
    target = path.resolve()
    text = _text_of(target)
    new = edited(text, proposal)
    faults = merge(package_materials().entries, tomllib.loads(new), Origin(str(path))).faults
    if faults:
        raise WrongUseError("; ".join(map(str, faults)))
    try:
        _replace(target, text, new)
    except OSError as error:
        raise WrongUseError(f"{clean_text(str(path))} cannot be written: {error.strerror}") from error


def _text_of(path: Path) -> str:
    if not path.exists():
        return ""
    try:
        return read_text_file(path)
    except UnreadableError as error:
        raise WrongUseError(f"{clean_text(str(path))}: {error}") from error


def _with_values(text: str, proposal: Proposal) -> str:
    has_cr = "\r\n" in text
    document = tomlkit.parse(text.replace("\r\n", "\n"))
    is_new = proposal.material not in document
    table: Any = tomlkit.table() if is_new else document[proposal.material]
    for key, parts in values_of(proposal).items():
        value = tomlkit.inline_table()
        value.update(parts)
        table.pop(key, None)
        table[key] = value
    if is_new:
        if text.strip():
            document.add(tomlkit.nl())
        document.append(tomlkit.key(proposal.material), table)
    new = tomlkit.dumps(document)
    return new.replace("\n", "\r\n") if has_cr else new


def _replace(target: Path, old: str, new: str) -> None:
    """Replace the file by a new one beside it, which has its place only when it is whole and on the disk."""
    mode = target.stat().st_mode & 0o777 if target.exists() else 0o600
    if not mode & _OWNER_WRITES:
        raise PermissionError(13, "it is read-only (chmod u+w lets strandwatch write it)")
    target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    descriptor, name = tempfile.mkstemp(prefix=".materials-", dir=target.parent)
    try:
        with os.fdopen(descriptor, "w", encoding="utf-8", newline="") as file:
            os.fchmod(file.fileno(), mode)
            file.write(new)
            file.flush()
            os.fsync(file.fileno())
        if _text_of(target) != old:
            raise WrongUseError("the file was changed meanwhile; nothing was written")  # noqa: TRY301 -- one place
        Path(name).replace(target)
    except BaseException:
        with suppress(OSError):
            Path(name).unlink()
        raise
