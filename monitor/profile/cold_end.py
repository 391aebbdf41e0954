"""A cold end without a sensor, in a profile: what must go together, and what follows, for the owner to compare.

Owns the rules around `estimated` and `[cold_end]`, and the words about them in `profile check`. Knows nothing of files
or of how faults are told.
"""

from collections.abc import Iterator
from itertools import chain
from math import log
from typing import Final

from monitor.core.parameters import Parameters
from monitor.profile.draft import Draft
from monitor.profile.faults import Finding
from monitor.profile.model import ZoneTable

_ZONE_KEY: Final = "estimated = true on the zone of the cold end"
_TABLE_KEYS: Final = "a table [cold_end] with heat_capacity_j_k, from_manifold_w_k and to_coolant_w_k"
_EXAMPLE_C: Final = 200.0
"""Manifold for which `profile check` tells where the cold end would settle [°C]: only an example."""


def reading_of(zone: ZoneTable) -> str:
    """Name of the wall reading that an estimated zone stands for: its sensor, without one the zone itself."""
    return zone.name if zone.sensor is None else zone.sensor


def check_cold_end(read: Draft) -> list[Finding]:
    """Apply all the rules."""
    return list(chain.from_iterable(rule(read) for rule in (_pairs, _alone, _upstream)))


def _pairs(read: Draft) -> Iterator[Finding]:
    """The zone and the table belong together."""
    estimated = _estimated(read)
    if estimated and not read.has_cold_end:
        allowed = f"{_TABLE_KEYS}; or another wall law: ambient = true where it stays as cool as the room"
        yield Finding(("zones", estimated[0], "estimated"), "no [cold_end] says how it warms", allowed)
    if read.has_cold_end and not estimated and len(read.zones) == read.zone_count:
        allowed = f"{_ZONE_KEY}, in place of its other wall law; or no [cold_end]"
        yield Finding(("cold_end",), "no zone is estimated, so nothing would use it", allowed)


def _alone(read: Draft) -> Iterator[Finding]:
    """There is one lump, so one reading; no other zone may take it for a measured one."""
    estimated = _estimated(read)
    names = [reading_of(read.zones[place]) for place in estimated]
    for place, name in zip(estimated, names, strict=True):
        if name != names[0]:
            allowed = f'one estimated zone, or the same sensor = "{names[0]}" in all of them: they warm as one'
            yield Finding(("zones", place, "estimated"), "a second cold end", allowed)
    for place, zone in read.zones.items():
        if zone.sensor in names and not zone.estimated:
            allowed = "a sensor of its own; or estimated = true here as well"
            yield Finding(("zones", place, "sensor"), "this reading is estimated in another zone", allowed)


def _upstream(read: Draft) -> Iterator[Finding]:
    """What warms it is the manifold, so it cannot be the manifold, or lie beyond it."""
    ends = [place for place, zone in read.zones.items() if zone.ends_at_merge_point]
    for place in _estimated(read):
        if read.zones[place].wetted or (ends and place >= ends[0]):
            problem = "only a cold end can be estimated: a zone before the manifold, not wetted"
            yield Finding(("zones", place, "estimated"), problem, 'sensor = "..." for a heated zone')


def _estimated(read: Draft) -> list[int]:
    return [place for place, zone in read.zones.items() if zone.estimated]


def cold_end_lines(parameters: Parameters) -> Iterator[str]:
    """Tell what the estimate comes to, so that the owner can hold a thermometer against it."""
    lump = parameters.cold_end
    if lump is None:
        return
    both_w_k = lump.from_manifold_w_k + lump.to_coolant_w_k
    settled_c = (lump.from_manifold_w_k * _EXAMPLE_C + lump.to_coolant_w_k * lump.coolant_c) / both_w_k
    half_min = log(2) * lump.heat_capacity_j_k / both_w_k / 60
    yield (
        f"cold end: ESTIMATED as {parameters.estimated_sensor!r}, unless the link reports that sensor: with a manifold"
        f" of {_EXAMPLE_C:g} °C and coolant of {lump.coolant_c:g} °C it settles near {settled_c:.0f} °C, half the way"
        f" in {half_min:.1f} min; compare with a thermometer. Cooling that fails is not seen"
    )
