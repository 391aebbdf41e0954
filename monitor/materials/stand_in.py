"""One material standing in for another where that one lacks values: what is borrowed, and what must not be mixed.

Owns the borrowing, value by value. Knows nothing of names, files or strands; who asked for it is not its business.
"""

from collections.abc import Iterator
from typing import Final, NamedTuple

from monitor.materials.checks import check, min_feed
from monitor.materials.model import PolymerTable, Value

NEEDED: Final = (
    "structure",
    "glass_c",
    "ceiling_c",
    "reference_c",
    "ea_below_kj_mol",
    "ea_best_kj_mol",
    "ea_above_kj_mol",
    "warn_min",
    "limit_min",
    "wet_factor",
    "density_kg_m3",
    "heat_capacity_j_kg_k",
    "conductivity_w_m_k",
)
"""Keys of a polymer without which the engine cannot watch it."""

_DOSES: Final = ("warn_min", "limit_min")
"""Minutes that mean something at one reference temperature only."""


class Filled(NamedTuple):
    """A material's table with its gaps filled, and the keys that were borrowed for it."""

    entry: PolymerTable
    borrowed: tuple[str, ...] = ()


def fill(own: PolymerTable, other: PolymerTable) -> Filled:
    """Fill what `own` lacks with what `other` has; whatever `own` says itself stays.

    A value borrowed keeps its range and gets the status of a stand-in. A melting temperature is borrowed for a
    semi-crystalline polymer only; the lowest wall to feed at only where `own` gives the rule of thumb nothing to go by.
    """
    found = {key: getattr(other, key) for key in NEEDED if getattr(own, key) is None}
    structure = own.structure or other.structure
    if structure == "semi-crystalline" and own.melt_c is None:
        found["melt_c"] = other.melt_c
    if min_feed(own) is None:
        found["min_feed_c"] = min_feed(other)
    lent = {key: _lent(value) for key, value in found.items() if value is not None}
    return Filled(own.model_copy(update=lent), tuple(lent))


def contradictions(own: PolymerTable, other: PolymerTable, filled: Filled) -> Iterator[str]:
    """Tell, in words, what of the two does not go together; nothing that nobody borrowed can contradict."""
    if not filled.borrowed:
        return
    has = [key for key in _DOSES if getattr(own, key) is not None]
    lent = [key for key in _DOSES if key in filled.borrowed]
    if "reference_c" in filled.borrowed and has:
        yield f"{' and '.join(has)} of its own must come with a reference_c of its own"
    elif own.reference_c is not None and other.reference_c is not None and lent:
        own_c, other_c = own.reference_c.number, other.reference_c.number
        if own_c != other_c:
            yield f"{' and '.join(lent)} cannot be borrowed: they count at {other_c:g} °C, its reference_c is {own_c:g}"
    for finding in check(filled.entry, set(filled.borrowed)):
        allowed = f" ({finding.allowed})" if finding.allowed else ""
        yield f"{', '.join(map(str, finding.path))} contradicts the rest: {finding.problem}{allowed}"


def _lent(value: object) -> object:
    return value.model_copy(update={"status": "N"}) if isinstance(value, Value) else value
