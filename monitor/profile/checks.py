"""What must go together in a profile: walls and their neighbours, strands and inputs, sensors and the link.

Owns the rules that span several keys. Works on whatever tables could be read. Knows nothing of files, wording of types,
or materials.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from itertools import chain
from typing import Final

from monitor.profile.cold_end import check_cold_end
from monitor.profile.draft import Draft
from monitor.profile.drives import check_drives
from monitor.profile.faults import Finding, hint, shown
from monitor.profile.link_mapping import inputs_named, sensors_named, sensors_reported
from monitor.profile.motion import tools_named

_WALL_LAWS: Final = (
    'exactly one of sensor = "...", bridge = true, ambient = true and estimated = true (which may name a sensor too)'
)


def check(read: Draft) -> list[Finding]:
    """Apply all the rules."""
    rules = (
        _laws,
        _bridges,
        _merge_point,
        _bores,
        _liners,
        _names,
        _loads,
        check_drives,
        _reports,
        _credits,
        _beside,
        _tools,
        _alerts,
    )
    return [*chain.from_iterable(rule(read) for rule in rules), *check_cold_end(read)]


def _laws(read: Draft) -> Iterator[Finding]:
    for place, zone in read.zones.items():
        given = [key for key in ("sensor", "bridge", "ambient", "estimated") if getattr(zone, key)]
        if len(given) != 1 and given != ["sensor", "estimated"]:
            problem = f"{' and '.join(given)} are both given" if given else "no wall law"
            yield Finding(("zones", place), problem, _WALL_LAWS)
    measured = any(zone.sensor and not zone.estimated for zone in read.zones.values())
    if read.zone_count and len(read.zones) == read.zone_count and not measured:
        yield Finding(
            ("zones",), "no zone has a sensor, so nothing could be watched", "at least one zone with a sensor"
        )


def _bridges(read: Draft) -> Iterator[Finding]:
    for place, zone in read.zones.items():
        after = read.zones.get(place + 1)
        if zone.bridge and place in (0, read.zone_count - 1):
            yield Finding(("zones", place, "bridge"), "a bridge at the end of the hot path", "a zone on both sides")
        elif zone.bridge and after is not None and after.bridge:
            problem = f"follows another bridge, {zone.name!r}: join the two"
            yield Finding(("zones", place + 1, "bridge"), problem, "a zone with a sensor, or ambient, on both sides")


def _merge_point(read: Draft) -> Iterator[Finding]:
    ends = [place for place, zone in read.zones.items() if zone.ends_at_merge_point]
    allowed = "ends_at_merge_point = true on exactly one zone: the last before the strands meet"
    for place in ends[1:]:
        first = read.zones[ends[0]].name
        yield Finding(("zones", place, "ends_at_merge_point"), f"zone {first!r} ends there already", allowed)
    if not ends and read.zone_count and len(read.zones) == read.zone_count:
        yield Finding(("zones",), "no zone has ends_at_merge_point, so it is not known where the strands meet", allowed)


def _bores(read: Draft) -> Iterator[Finding]:
    thick_mm = read.filament_diameter_mm
    for place, zone in read.zones.items():
        if thick_mm is not None and zone.bore_mm < thick_mm:
            allowed = f"at least {thick_mm}, the filament_diameter_mm (of a lined zone give the liner's own bore)"
            yield Finding(("zones", place, "bore_mm"), "the filament does not fit", allowed)


def _liners(read: Draft) -> Iterator[Finding]:
    for place, zone in read.zones.items():
        if zone.liner is not None and zone.liner_mm is None:
            yield Finding(("zones", place, "liner_mm"), "missing", "the liner's wall thickness; a liner has both keys")
        if zone.liner is None and zone.liner_mm is not None:
            yield Finding(("zones", place, "liner"), "missing", "the liner's material; without a liner, no liner_mm")


def _names(read: Draft) -> Iterator[Finding]:
    yield from _twice("zones", "name", {place: zone.name for place, zone in read.zones.items()})
    yield from _twice("heaters", "name", {place: heater.name for place, heater in read.heaters.items()})
    tools = {place: heater.tool for place, heater in read.heaters.items() if heater.tool is not None}
    yield from _twice("heaters", "tool", tools)
    yield from _twice("inputs", "input", {place: row.input for place, row in read.inputs.items()})
    yield from _twice("strands", "input", {place: strand.input for place, strand in read.strands.items()})


def _twice(array: str, key: str, values: Mapping[int, object]) -> Iterator[Finding]:
    count = Counter(values.values())
    seen: set[object] = set()
    for place, value in values.items():
        if count[value] > 1 and value in seen:
            yield Finding((array, place, key), "used twice", f"each {key} in one table of [[{array}]] only")
        seen.add(value)


def _loads(read: Draft) -> Iterator[Finding]:
    """Strands need an input; a profile without `[[inputs]]` has those that its strands name."""
    known = sorted({row.input for row in read.inputs.values()})
    if not known:
        return
    for place, strand in read.strands.items():
        if strand.input not in known:
            yield Finding(("strands", place, "input"), "no such input in [[inputs]]", _listed(known))
    if read.strand_count > len(known):
        problem = f"{read.strand_count} strands, but {len(known)} input{'s' * (len(known) != 1)}"
        yield Finding(("strands",), problem, "at most one strand for each of [[inputs]]")


def _reports(read: Draft) -> Iterator[Finding]:
    """Whatever the model needs from the machine must be in the link's mapping, or it would stay unknown all night."""
    if read.link is None:
        return
    sensors = sorted(sensors_reported(read.link))
    named = [("zones", place, zone.sensor) for place, zone in read.zones.items()]
    named += [("heaters", place, heater.sensor) for place, heater in read.heaters.items()]
    for array, place, sensor in named:
        if sensor is not None and sensor not in sensors:
            problem = "the link's mapping never reports this sensor" + hint(sensor, sensors)
            allowed = ", ".join(sensors) or "map it in [link] first"
            without = "; or none: the zone is estimated" if array == "zones" and read.zones[place].estimated else ""
            yield Finding((array, place, "sensor"), problem, allowed + without)


def _credits(read: Draft) -> Iterator[Finding]:
    """Feed credited to an input that is not there would be missing from the one that it belongs to."""
    known = sorted({row.input for row in read.inputs.values()})
    if not known or read.link is None:
        return
    for place, number in inputs_named(read.link):
        if number not in known:
            problem = f"speaks of input {number}, which is not in [[inputs]]"
            yield Finding(place, problem, _listed(known))


def _tools(read: Draft) -> Iterator[Finding]:
    """Feed that a build file plans for an input that is not there would be planned for nobody."""
    known = sorted({row.input for row in read.inputs.values()})
    if not known or read.motion is None:
        return
    for place, number in tools_named(read.motion):
        if number not in known:
            yield Finding(place, f"speaks of input {number}, which is not in [[inputs]]", _listed(known))


def _beside(read: Draft) -> Iterator[Finding]:
    """A set point or duty of a sensor that nothing else knows would be recorded, and never used."""
    if read.link is None:
        return
    named = {zone.sensor for zone in read.zones.values()} | {heater.sensor for heater in read.heaters.values()}
    known = sorted(sensors_reported(read.link) | {sensor for sensor in named if sensor is not None})
    for place, sensor in sensors_named(read.link):
        if sensor not in known:
            yield Finding(place, f"there is no sensor {shown(sensor)}" + hint(sensor, known), ", ".join(known))


def _alerts(read: Draft) -> Iterator[Finding]:
    alerts = read.alerts
    if alerts is not None and alerts.stale_after_s >= alerts.unavailable_after_s:
        allowed = f"below unavailable_after_s, {alerts.unavailable_after_s}"
        yield Finding(("alerts", "stale_after_s"), "values must go stale before the machine counts as lost", allowed)


def _listed(numbers: Sequence[int]) -> str:
    return ", ".join(map(str, numbers))
