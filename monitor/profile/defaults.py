"""Every default that filled a gap in a profile, with where it comes from.

Owns the walk over the typed profile. Knows the defaults' values only through the models that declare them.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from monitor.core.parameters import Parameters
from monitor.profile.faults import Place, key_text, shown
from monitor.profile.model import Origin, ProfileFile
from monitor.profile.planning import COLD_END_ORIGIN, cold_end_default

LINK_DEFAULT = "chosen for this kind of link, no source"
_COOLANT = "ambient_c: the coolant is taken to enter as warm as the room"
_RULE = "rule of thumb from the material's transitions; replace it by a bench test"


@dataclass(frozen=True, slots=True)
class DefaultUsed:
    """A default that was used: the key it stands for, its value, and where it comes from."""

    key: str
    value: object
    origin: str

    def __str__(self) -> str:
        return f"{self.key} = {shown(self.value)} ({self.origin})"


def defaults_used(profile: ProfileFile, parameters: Parameters) -> tuple[DefaultUsed, ...]:
    """All defaults that the profile uses, in the order of its keys, then those drawn from other values."""
    drawn = (*_coolant(profile, parameters), *_cold_end(profile, parameters), *_rules(profile, parameters))
    return (*_walk(profile, ()), *drawn)


def _walk(table: BaseModel, path: Place) -> Iterator[DefaultUsed]:
    for key, info in type(table).model_fields.items():
        value = getattr(table, key)
        here = (*path, key)
        if isinstance(value, BaseModel):
            yield from _walk(value, here)
        elif isinstance(value, tuple):
            for place, entry in enumerate(value):
                if isinstance(entry, BaseModel):
                    yield from _walk(entry, (*here, place))
        elif key not in table.model_fields_set:
            yield from _default(info, here, value)


def _default(info: FieldInfo, path: Place, value: object) -> Iterator[DefaultUsed]:
    """Tell a default that has an origin; of the link, which declares none, tell all that say something."""
    origin = next((mark.text for mark in info.metadata if isinstance(mark, Origin)), "")
    if isinstance(info.json_schema_extra, dict):
        origin = str(info.json_schema_extra.get("origin", origin))  # a link's own, which cannot know `Origin`
    if not origin and path[0] == "link" and isinstance(value, bool | int | float | str) and value != "":
        origin = LINK_DEFAULT
    if origin:
        yield DefaultUsed(key_text(path), value, origin)


def _coolant(profile: ProfileFile, parameters: Parameters) -> Iterator[DefaultUsed]:
    if profile.cold_end is not None and profile.cold_end.coolant_c is None:
        yield DefaultUsed(key_text(("cold_end", "coolant_c")), parameters.ambient_c, _COOLANT)


def _cold_end(profile: ProfileFile, parameters: Parameters) -> Iterator[DefaultUsed]:
    temp_c = cold_end_default(profile, parameters)
    if temp_c is not None:
        yield DefaultUsed(key_text(("planning", "cold_end_c")), temp_c, COLD_END_ORIGIN)


def _rules(profile: ProfileFile, parameters: Parameters) -> Iterator[DefaultUsed]:
    materials = {strand.input: strand.material for strand in parameters.strands}
    for place, row in enumerate(profile.strands):
        if materials[row.input].min_feed_is_rule:
            yield DefaultUsed(key_text(("strands", place, "min_feed_c")), materials[row.input].min_feed_c, _RULE)
