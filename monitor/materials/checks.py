"""What must hold between the keys of one material's table.

Owns the rule of thumb for cold feed and the order that temperatures, energies and doses must stand in. Knows nothing
of files or of how a fault is told.
"""

from collections.abc import Iterator, Set
from typing import Final

from monitor.materials.model import Entry, LinerTable, PolymerTable, Value
from monitor.profile.faults import Finding

AMORPHOUS_FEED_ABOVE_GLASS_K: Final = 90.0
"""How far above its glass transition an amorphous polymer can be expected to feed [K] (rule of thumb, no source)."""

_RULES: Final = {
    "semi-crystalline": "rule of thumb: the melting temperature as used here; replace it by a bench test",
    "amorphous": "rule of thumb: high end of the glass transition + 90 K; replace it by a bench test",
}
_ORDERS: Final = (
    ("glass_c", "melt_c", "no polymer melts below its glass transition"),
    ("glass_c", "ceiling_c", "the strand could never soften without being spoilt"),
    ("ea_below_kj_mol", "ea_best_kj_mol", "the cautious law needs the lowest energy below the reference"),
    ("ea_best_kj_mol", "ea_above_kj_mol", "the cautious law needs the highest energy above the reference"),
    ("warn_min", "limit_min", "the limit would pass without a warning"),
    ("min_feed_c", "ceiling_c", "the strand could only feed above its ceiling"),
    ("warn_c", "alarm_c", "the alarm would come without a warning"),
    ("alarm_c", "stop_c", "heating would stop without an alarm"),
)
_MAY_BE_EQUAL: Final = ("ea_best_kj_mol", "ea_above_kj_mol")


def min_feed(polymer: PolymerTable) -> Value[float] | None:
    """Give the lowest wall at which the polymer feeds [°C]: its own, else the rule of thumb; None when unknown."""
    if polymer.min_feed_c is not None:
        return polymer.min_feed_c
    if polymer.structure == "amorphous" and polymer.glass_c is not None:
        glass = polymer.glass_c
        least_c = (glass.number if glass.high is None else glass.high) + AMORPHOUS_FEED_ABOVE_GLASS_K
    elif polymer.structure == "semi-crystalline" and polymer.melt_c is not None:
        least_c = polymer.melt_c.number
    else:
        return None
    return Value[float](value=least_c, status="J", note=_RULES[polymer.structure])


def check(entry: Entry, own: Set[str]) -> Iterator[Finding]:
    """Find pairs of keys that contradict each other; a pair with an absent key cannot.

    Of a pair, the key among `own` is blamed: the file at hand set it, another one set its partner.
    """
    if isinstance(entry, PolymerTable) and entry.structure == "amorphous" and entry.melt_c is not None:
        yield Finding(("melt_c",), "an amorphous polymer has no melting temperature", 'structure = "semi-crystalline"')
    for low_key, high_key, why in _ORDERS:
        low, high = _number(entry, low_key), _number(entry, high_key)
        if low is None or high is None or low < high or (low == high and high_key in _MAY_BE_EQUAL):
            continue
        blamed = high_key if high_key in own else low_key
        yield Finding((blamed,), why, f"{low_key} below {high_key}: they are {low:g} and {high:g}")


def _number(entry: Entry, key: str) -> float | None:
    if isinstance(entry, LinerTable):
        value = getattr(entry, key, None)
    else:
        value = min_feed(entry) if key == "min_feed_c" else getattr(entry, key, None)
    return value.number if isinstance(value, Value) else None
