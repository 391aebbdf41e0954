"""The table of materials: what the package, the demo and the owner's files say of each, and what the engine is told.

Owns the order of the files and the choice of the engine's numbers. Does not know what the numbers do.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final, Self

from connectors.clean_text import clean_text
from monitor.core.parameters import LinerLimits, Material
from monitor.materials.checks import min_feed
from monitor.materials.errors import IncompleteMaterialError, MaterialError, MaterialsError, UnknownMaterialError
from monitor.materials.files import files_of_the_owner, package_tables, read_tables, user_file
from monitor.materials.model import Entry, LinerTable, PolymerTable, Value, values
from monitor.materials.stand_in import NEEDED, Filled, contradictions, fill
from monitor.materials.tables import Origin, merge
from monitor.profile.faults import Fault, hint

__all__ = [
    "IncompleteMaterialError",
    "MaterialError",
    "MaterialTable",
    "MaterialsError",
    "UnknownMaterialError",
    "load_materials",
    "package_materials",
]

_LINER_NEEDED: Final = ("warn_c", "alarm_c", "stop_c")
RULE_STATUSES: Final = ("J", "N")
"""A `min_feed_c` of this status was guessed, not tested: a rule of thumb."""


@dataclass(frozen=True, slots=True)
class MaterialTable:
    """Materials and liners by name. Made by `load_materials`, or of a recording by `from_tables`."""

    entries: Mapping[str, Entry]

    @classmethod
    def from_tables(cls, tables: Mapping[str, Any]) -> Self:
        """Make a table of raw ones, such as a recording holds; raises `MaterialsError` with all faults."""
        return cls({}).with_overrides(tables, source="the recording")

    def with_overrides(self, tables: Mapping[str, Any], source: str = "the profile") -> Self:
        """Put raw tables over these, value by value; `source` vouches for values that name no other.

        Raises
        ------
        MaterialsError
            With all that is wrong in `tables`.
        """
        merged = merge(self.entries, tables, Origin(source))
        if merged.faults:
            raise MaterialsError(merged.faults)
        return type(self)(MappingProxyType(dict(merged.entries)))

    @property
    def names(self) -> tuple[str, ...]:
        """What a strand can be made of, in the order of the files."""
        return tuple(name for name, entry in self.entries.items() if isinstance(entry, PolymerTable))

    @property
    def liner_names(self) -> tuple[str, ...]:
        """What a liner can be made of."""
        return tuple(name for name, entry in self.entries.items() if isinstance(entry, LinerTable))

    def material(self, name: str, stand_in: str | None = None) -> Material:
        """Give the material as the engine is told it; what it lacks comes from `stand_in`, if there is one.

        Raises
        ------
        UnknownMaterialError, IncompleteMaterialError
            When there is none of that name, or not enough is known of it.
        """
        polymer = self.filled(name, stand_in).entry
        least = min_feed(polymer)
        if least is None:
            raise _incomplete("material", name, missing(polymer))
        number = {key: value.number for key, value in values(polymer).items()}
        limit: Value[float] | None = polymer.limit_min
        return Material(
            name=name,
            **{key: number[key] for key in NEEDED if key != "structure"},
            melt_c=number.get("melt_c"),
            limit_high_min=number["limit_min"] if limit is None or limit.high is None else limit.high,
            min_feed_c=least.number,
            min_feed_is_rule=least.status in RULE_STATUSES,
        )

    def filled(self, name: str, stand_in: str | None = None) -> Filled:
        """Give a polymer's table without gaps, and what of it was borrowed of `stand_in`; raises as `material` does."""
        own = self._polymer(name)
        if stand_in is None:
            filled = Filled(own)
        else:
            other = self._polymer(stand_in)
            filled = fill(own, other)
            for problem in contradictions(own, other, filled):
                raise _cannot_stand_in(stand_in, name, problem)
        lacking = missing(filled.entry)
        if lacking:
            raise _incomplete("material", name, lacking) if stand_in is None else _gaps_left(stand_in, name, lacking)
        return filled

    def liner(self, name: str) -> LinerLimits:
        """Give a liner's limits; raises as `material` does."""
        entry = self.entries.get(name)
        if not isinstance(entry, LinerTable):
            raise _unknown("liner", name, self.liner_names)
        lacking = missing(entry)
        if lacking:
            raise _incomplete("liner", name, lacking)
        return LinerLimits(**{key: values(entry)[key].number for key in _LINER_NEEDED})

    def _polymer(self, name: str) -> PolymerTable:
        entry = self.record(name)
        if not isinstance(entry, PolymerTable):
            raise _unknown("material", name, self.names)
        return entry

    def record(self, name: str) -> Entry:
        """Give all that is known of a material or liner, complete or not; raises `UnknownMaterialError`."""
        if name not in self.entries:
            raise _unknown("material", name, self.entries)
        return self.entries[name]

    def tables(self, names: Iterable[str]) -> dict[str, Any]:
        """Give raw tables of materials and liners, as `from_tables` takes them; raises `UnknownMaterialError`."""
        return {name: self.record(name).model_dump(exclude_none=True) for name in names}


def load_materials(user_files: Sequence[Path] = ()) -> MaterialTable:
    """Read the package's materials, the demo's, the owner's own if there are any, then `user_files`; later override.

    Raises
    ------
    MaterialsError
        With all that is wrong in the owner's files.
    """
    entries, faults = _package_entries(), list[Fault]()
    for path in files_of_the_owner(user_files):
        try:
            merged = merge(entries, read_tables(path), Origin(str(path)))
        except MaterialsError as error:
            faults += error.faults
        else:
            entries = merged.entries
            faults += merged.faults
    if faults:
        raise MaterialsError(faults)
    return MaterialTable(MappingProxyType(dict(entries)))


def package_materials() -> MaterialTable:
    """Give the package's materials and the demo's alone, whatever the owner has."""
    return MaterialTable(_package_entries())


@cache
def _package_entries() -> Mapping[str, Entry]:
    entries: Mapping[str, Entry] = {}
    for origin, tables in package_tables():
        merged = merge(entries, tables, origin)
        if merged.faults:
            raise MaterialsError(merged.faults)
        entries = merged.entries
    return MappingProxyType(dict(entries))


def missing(entry: Entry) -> list[str]:
    """List the keys without which the engine cannot use the table."""
    needed = list(_LINER_NEEDED if isinstance(entry, LinerTable) else NEEDED)
    if isinstance(entry, PolymerTable) and entry.structure == "semi-crystalline":
        needed.append("melt_c")
    return [key for key in needed if getattr(entry, key) is None]


def _unknown(what: str, name: str, known: Iterable[str]) -> UnknownMaterialError:
    known = list(known)
    return UnknownMaterialError(
        f"there is no {what} {clean_text(name)!r}{hint(name, known)}; `strandwatch materials` lists them all, and"
        f" your own go into {user_file()}"
    )


def _incomplete(what: str, name: str, lacking: Sequence[str]) -> IncompleteMaterialError:
    place = (
        f"{what} {clean_text(name)!r} lacks {', '.join(lacking)}; write them under [{clean_text(name)}] in"
        f" {user_file()}, or under [materials.{clean_text(name)}] in the profile"
    )
    way_out = '; or say stand_in = "NAME" in the strand\'s table, and they come from that material'
    return IncompleteMaterialError(place + (way_out if what == "material" else ""))


def _gaps_left(stand_in: str, name: str, lacking: Sequence[str]) -> IncompleteMaterialError:
    return IncompleteMaterialError(
        f"material {clean_text(name)!r} still lacks {', '.join(lacking)}: {clean_text(stand_in)!r}, which stands in for"
        " it, has none to lend"
    )


def _cannot_stand_in(stand_in: str, name: str, problem: str) -> IncompleteMaterialError:
    return IncompleteMaterialError(f"{clean_text(stand_in)!r} cannot stand in for {clean_text(name)!r}: {problem}")
