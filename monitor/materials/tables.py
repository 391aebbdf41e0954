"""From raw tables to checked ones: who vouches for a value, citations, faults, and one file's word over another's.

Owns the two short forms of a value (a plain number; a citation by its key) and the merging value by value. Reads no
files and knows nothing of the engine.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from pydantic import ValidationError

from connectors.clean_text import clean_text
from monitor.materials.checks import check
from monitor.materials.model import Entry, LinerTable, PolymerTable, Status, Value
from monitor.profile.faults import Fault, Finding, fault, findings

SOURCES: Final = "sources"
"""Name of the table of citations in a file; no material can be called so."""

_IN_PROFILE: Final = "materials"
"""Name of the table of a profile that holds the materials."""
_BARE_KEY: Final = re.compile(r"[A-Za-z0-9_-]+")
_LONGEST_NAME: Final = 60
_VALUE_FORMS: Final = "a number, or a table with value, and as known low, high, used, status, source, note"


@dataclass(frozen=True, slots=True)
class Origin:
    """Who vouches for the values of a file that do not say so themselves.

    Parameters
    ----------
    name : str
        What the file is called in faults, and as a value's source unless `source` says otherwise.
    status, source : str
        Given to values that have none of their own.
    """

    name: str
    status: Status = "own"
    source: str | None = None


@dataclass(frozen=True, slots=True)
class Merged:
    """Tables after one more file had its say, and what was wrong with it."""

    entries: Mapping[str, Entry]
    faults: tuple[Fault, ...]


def merge(entries: Mapping[str, Entry], tables: Mapping[str, Any], origin: Origin) -> Merged:
    """Put `tables` over `entries`, value by value; a table with faults is left out and told."""
    result, faults = dict(entries), list[Fault]()
    citations = tables.get(SOURCES, {})
    for name, raw in tables.items():
        if name == SOURCES:
            continue
        too_deep = list(_too_deep(name, raw))
        if too_deep:
            faults += [_fault(origin, name, raw, finding) for finding in too_deep]
            continue
        table = _filled(raw, origin, citations)
        entry, found = _merged(entries.get(name), table)
        found += _name_findings(name)
        if entry is not None and not found:
            result[name] = entry
        faults += [_fault(origin, name, raw, finding) for finding in found]
    faults += [_fault(origin, SOURCES, citations, finding) for finding in _citation_findings(citations)]
    return Merged(result, tuple(faults))


def _merged(base: Entry | None, table: object) -> tuple[Entry | None, list[Finding]]:
    if not isinstance(table, Mapping):
        return None, [Finding((), "wrong type", "a table of the material's keys")]
    model = _model(base, table)
    found = list[Finding]()
    try:
        new: Entry = model.model_validate(table)
    except ValidationError as error:
        found = findings(error, model, table)
        new = model.model_validate(_without(table, error))
    if base is None:
        return new, found + list(check(new, new.model_fields_set))
    if new.kind != base.kind:
        return None, [*found, Finding(("kind",), f"this name is taken by a {base.kind}", "another name")]
    own = new.model_fields_set
    merged = base.model_copy(update={key: getattr(new, key) for key in own})
    return merged, found + list(check(merged, own))


def _without(table: Mapping[str, Any], error: ValidationError) -> dict[str, Any]:
    """Keep the keys that are sound in themselves, so that what is wrong between them can be told as well."""
    faulty = {details["loc"][0] for details in error.errors(include_url=False)}
    return {key: value for key, value in table.items() if key not in faulty}


def _model(base: Entry | None, table: Mapping[str, Any]) -> type[PolymerTable] | type[LinerTable]:
    kind = table.get("kind", "polymer" if base is None else base.kind)
    return LinerTable if kind == "liner" else PolymerTable


def _filled(raw: object, origin: Origin, citations: object) -> object:
    """The table with every short form written out."""
    if not isinstance(raw, Mapping):
        return raw
    known = {**PolymerTable.model_fields, **LinerTable.model_fields}
    is_value = {key: _holds_value(field.annotation) for key, field in known.items()}
    return {key: _long(value, origin, citations) if is_value.get(key) else value for key, value in raw.items()}


def _holds_value(annotation: object) -> bool:
    return any(isinstance(part, type) and issubclass(part, Value) for part in getattr(annotation, "__args__", ()))


def _long(value: object, origin: Origin, citations: object) -> object:
    named = {"status": origin.status, "source": clean_text(origin.name if origin.source is None else origin.source)}
    if isinstance(value, int | float) and not isinstance(value, bool):
        return {"value": value, **named}
    if not isinstance(value, Mapping):
        return value
    full = {**named, **value}
    if isinstance(full["source"], str) and isinstance(citations, Mapping):
        parts = full["source"].split("; ")
        full["source"] = "; ".join(str(citations.get(part, part)) for part in parts)
    return full


def _name_findings(name: str) -> Iterator[Finding]:
    if not name.strip() or len(name) > _LONGEST_NAME or clean_text(name) != name:
        yield Finding((), "a name that cannot be shown", f"1 to {_LONGEST_NAME} characters that can be shown")


def _too_deep(name: str, raw: object) -> Iterator[Finding]:
    """Find materials written as in a profile, where they stand one table deeper than in a file of their own."""
    if name != _IN_PROFILE or not isinstance(raw, Mapping):
        return
    for key, value in raw.items():
        if isinstance(value, Mapping) and key not in {**PolymerTable.model_fields, **LinerTable.model_fields}:
            yield Finding((key,), f"this is how a profile has it; in a file of its own write [{_toml_key(key)}]")


def _toml_key(name: str) -> str:
    return name if _BARE_KEY.fullmatch(name) else f'"{name}"'


def _citation_findings(citations: object) -> Iterator[Finding]:
    if not isinstance(citations, Mapping):
        yield Finding((), "wrong type", "a table of citations")
        return
    for key, text in citations.items():
        if not isinstance(text, str) or clean_text(text, 400) != text:
            yield Finding((key,), "not a citation", "text of at most 400 characters that can be shown")


def _fault(origin: Origin, name: str, raw: object, finding: Finding) -> Fault:
    """The fault as it stands in the file, where a plain number has no `value` below it."""
    path, allowed = finding.path, finding.allowed
    plain = isinstance(raw, Mapping) and path and not isinstance(raw.get(path[0]), Mapping)
    if plain and len(path) > 1:
        path = path[:1]
    elif allowed == "a table" and path:
        allowed = _VALUE_FORMS if finding.problem == "wrong type" else ""
    return fault(origin.name, {name: raw}, Finding((name, *path), finding.problem, allowed))
