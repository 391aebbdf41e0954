"""Faults of a profile, told so that the owner can mend them: file, key, value, what is wrong, what is allowed.

Owns the wording and the translation of the checker's errors. Does not know which keys a profile has beyond the schema
of `model`, and reads no file.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any, Final, NamedTuple

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from connectors.clean_text import clean_text
from connectors.withheld import without_secrets
from monitor.profile.schema import allowed_text, child_at, has_child, known_keys, node_at, tags

Place = tuple[str | int, ...]
"""Place in the profile: keys of tables and 0-based places in arrays."""

_SHOWN: Final = 60
_PROBLEMS: Final = {
    "missing": "missing",
    "extra_forbidden": "unknown key",
    "union_tag_not_found": "missing",
    "union_tag_invalid": "not a value known here",
    "literal_error": "not a value known here",
    "enum": "not a value known here",
    "finite_number": "not a finite number",
}
_RANGES: Final = ("greater_than", "less_than", "too_short", "too_long")
_TYPES: Final = ("_type", "_parsing", "_from_float")
_KEY_MARK: Final = "[key]"
"""Last step of the checker's place when it is a key, not its value, that is wrong."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in a profile.

    `key` counts tables from 1, as the owner counts `[[zones]]` down the file; `value` is what stands there, None when
    nothing does; `allowed` is empty where `problem` says it all.
    """

    file: str
    key: str
    value: object
    problem: str
    allowed: str = ""

    def __str__(self) -> str:
        value = "" if self.value is None or isinstance(self.value, Mapping | list) else f" = {shown(self.value)}"
        place = f"{self.key}{value}: " if self.key else ""
        allowed = f"; allowed: {self.allowed}" if self.allowed else ""
        return f"{clean_text(self.file)}: {place}{self.problem}{allowed}"


class FaultsError(Exception):
    """Something cannot be used; `faults` holds everything that is wrong with it."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__(self.faults)

    def __str__(self) -> str:
        return "\n".join(str(fault) for fault in self.faults)


class ProfileError(FaultsError):
    """The profile cannot be used."""


class Finding(NamedTuple):
    """A fault before it knows its file: where it is, what is wrong, what is allowed."""

    path: Place
    problem: str
    allowed: str = ""


def fault(file: str, table: Mapping[str, Any], finding: Finding) -> Fault:
    """The fault as the owner reads it, with the value that stands in `table` at its place unless it is a secret."""
    value = value_at(table, finding.path)
    for step in finding.path[-1:]:
        value = without_secrets({str(step): value})[str(step)]
    owner = _owner(table, finding.path)
    return Fault(
        file, key_text(finding.path), value, clean_text(finding.problem + owner, 400), clean_text(finding.allowed, 1000)
    )


def shown(value: object) -> str:
    """A value as it stands in TOML, roughly, and short."""
    if isinstance(value, bool):
        return str(value).lower()
    return clean_text(f'"{value}"' if isinstance(value, str) else str(value), _SHOWN)


def key_text(path: Place) -> str:
    """Write a place as the owner reads it.

    >>> key_text(("zones", 2, "length_mm"))
    'zones[3].length_mm'
    """
    text = ""
    for step in path:
        text += f"[{step + 1}]" if isinstance(step, int) else f".{clean_text(step, _SHOWN)}"
    return text.removeprefix(".")


def value_at(table: object, path: Place) -> object:
    """What stands at a place in the raw tables; None when nothing does."""
    for step in path:
        table = child_at(table, step)
    return table


def hint(word: str, known: Iterable[str]) -> str:
    """Name the known words most like a wrong one, as the end of a sentence; empty when none is like it.

    >>> hint("lenght_mm", ["length_mm", "bore_mm"])
    ' (did you mean length_mm?)'
    """
    by_lower = {name.lower(): name for name in known}
    alike = get_close_matches(word.lower(), by_lower, n=3, cutoff=0.6)
    return f" (did you mean {' or '.join(by_lower[name] for name in alike)}?)" if alike else ""


def findings(error: ValidationError, model: type[BaseModel], table: Mapping[str, Any]) -> list[Finding]:
    """Translate all errors that checking `table` against `model` gave."""
    schema = model.model_json_schema()
    return [_finding(details, schema, table) for details in error.errors(include_url=False)]


def _finding(details: ErrorDetails, schema: Mapping[str, Any], table: Mapping[str, Any]) -> Finding:
    kind = details["type"]
    path = _place(details, table)
    if kind == "extra_forbidden":
        known = known_keys(node_at(schema, path[:-1], table))
        return Finding(path, _PROBLEMS[kind] + hint(str(path[-1]), known), ", ".join(known))
    if details["loc"][-1:] == (_KEY_MARK,):
        return Finding(path, f"the key {_message(details)}")
    node = node_at(schema, path, table)
    if kind.startswith("union_tag"):
        return Finding((*path, "kind"), _PROBLEMS[kind], tags(node))
    return Finding(path, _problem(details), allowed_text(node))


def _problem(details: ErrorDetails) -> str:
    kind = details["type"]
    if kind in _PROBLEMS:
        return _PROBLEMS[kind]
    if kind.startswith(_RANGES) or kind.endswith(_RANGES):
        return "out of range"
    return "wrong type" if kind.endswith(_TYPES) else _message(details)


def _message(details: ErrorDetails) -> str:
    return details["msg"].removeprefix("Value error, ").replace("Input should", "should")


def _place(details: ErrorDetails, table: object) -> Place:
    """Place of the error in the file: the checker's own steps, such as the tag of a union, are left out."""
    path: list[str | int] = []
    steps = details["loc"]
    for number, step in enumerate(steps, 1):
        if has_child(table, step):
            table = child_at(table, step)
        elif details["type"] != "missing" or number < len(steps):
            continue
        path.append(step)
    return tuple(path)


def _owner(table: Mapping[str, Any], path: Place) -> str:
    """Say whose table it is, by name or input, since counting tables in a long file is error-prone."""
    row = value_at(table, path[:2]) if len(path) > 1 and isinstance(path[1], int) else None
    for key in ("name", "input"):
        if isinstance(row, Mapping) and key in row and path[2:] != (key,):
            what = str(path[0]).removesuffix("s") if key == "name" else "input"
            return f" ({what} {shown(row[key])})"
    return ""
