"""A checked profile in plain lines: what was understood, every default with its origin, or all that is wrong.

Owns the wording of `profile check`. Reads only what `config` has made; prints nothing itself.
"""

from collections.abc import Iterator
from typing import Final

from connectors.clean_text import clean_text
from connectors.serial_settings import SerialSettings
from monitor.config import Profile, ProfileError
from monitor.core.parameters import Material, Parameters, Strand, WallLaw, Zone
from monitor.profile.cold_end import cold_end_lines
from monitor.profile.drives import current_notes, drive_lines, motion_lines
from monitor.profile.faults import shown
from monitor.profile.link_mapping import address, inputs_reported, texts_sent
from monitor.profile.model import InputTable
from monitor.profile.motion import build_file_lines
from monitor.profile.planning import heater_tool_lines

CAUTION: Final = (
    "Caution: strandwatch only watches. It does not replace the machine's own thermal protection,"
    " a smoke alarm, or somebody within reach."
)


def fault_lines(error: ProfileError) -> Iterator[str]:
    """Tell every fault, one a line, below a line that says how many there are."""
    count = len(error.faults)
    yield "1 fault in the profile:" if count == 1 else f"{count} faults in the profile (its tables are counted from 1):"
    yield from map(str, error.faults)


def summary_lines(profile: Profile) -> Iterator[str]:
    """Tell what was understood, so that the owner can see a slip that no check can find."""
    parameters = profile.parameters
    yield f"machine: {parameters.machine}"
    yield f"filament: {parameters.filament_diameter_mm:g} mm; room: {parameters.ambient_c:g} °C"
    yield "hot path, in flow order:"
    yield from _zone_lines(parameters)
    yield from cold_end_lines(parameters)
    yield "strands:"
    yield from map(_strand_line, parameters.strands)
    yield from (f"  {line}" for line in loan_lines(profile))
    yield from _drive_lines(profile)
    yield from _link_lines(profile)
    yield from build_file_lines(profile.motion)
    yield from heater_tool_lines(profile.planning)
    yield "defaults used:" if profile.defaults else "defaults used: none"
    yield from (f"  {default}" for default in profile.defaults)
    yield from _notes(profile)
    yield CAUTION


def loan_lines(profile: Profile) -> Iterator[str]:
    """Name every value that a strand's material lacks and a stand-in lends."""
    for loan in profile.loans:
        values = ", ".join(f"{key} = {shown(value)}" for key, value in loan.values.items())
        yield f"input {loan.input}: {loan.material} lacks values, {loan.stand_in} stands in: {values}"


def _zone_lines(parameters: Parameters) -> Iterator[str]:
    width = max(len(zone.name) for zone in parameters.zones)
    for place, zone in enumerate(parameters.zones):
        yield f"  {zone.name:<{width}}  {zone.length_mm:6g} mm  bore {zone.bore_mm:g} mm  {_zone_text(zone)}"
        if place == parameters.last_before_merge:
            yield f"  ── merge point, {parameters.path_length_mm:g} mm from the start of the path ──"


def _zone_text(zone: Zone) -> str:
    laws = {WallLaw.SENSOR: f"sensor {zone.sensor}", WallLaw.ESTIMATED: f"estimated as {zone.sensor}"}
    law = laws.get(zone.law, zone.law.value)
    liner = f"{zone.liner} liner {zone.liner_mm:g} mm" if zone.liner is not None else ""
    return ", ".join(filter(None, (law, liner, "wetted" if zone.wetted else "")))


def _strand_line(strand: Strand) -> str:
    dried = "dried" if strand.dried else "not known to be dry"
    label = f" {strand.label!r}" if strand.label else ""
    return f"  input {strand.input}: {strand.material.name}{label}, {dried}; {_material_text(strand.material)}"


def _material_text(material: Material) -> str:
    rule = " (rule of thumb)" if material.min_feed_is_rule else ""
    return (
        f"feeds from {material.min_feed_c:g} °C{rule}, ceiling {material.ceiling_c:g} °C,"
        f" dose warn {material.warn_min:g} and limit {material.limit_min:g} min at {material.reference_c:g} °C"
    )


def _input_rows(profile: Profile) -> list[InputTable]:
    return [InputTable(**row) for row in profile.table.get("inputs", ())]


def _drive_lines(profile: Profile) -> Iterator[str]:
    parameters, link = profile.parameters, profile.link
    lines = [*drive_lines(_input_rows(profile), parameters.filament_diameter_mm)]
    lines += () if link is None else motion_lines(parameters, link)
    if lines:
        yield "drives, and what sees the strands move:"
    yield from (f"  {line}" for line in lines)


def _link_lines(profile: Profile) -> Iterator[str]:
    if profile.link is None:
        yield "link: none (demo and replay need none; watch does)"
        return
    yield f"link: {profile.link.kind}, {clean_text(address(profile.link))}"
    yield f"  reports sensors: {', '.join(sorted(profile.sensors_reported))}"
    yield "  all that is ever sent to the machine:"
    yield from (f"    {text}" for text in texts_sent(profile.link))


def _idle_stand_ins(profile: Profile) -> Iterator[str]:
    """Name stand-ins that lend nothing: the owner may think that they do."""
    lending = {loan.input for loan in profile.loans}
    for row in profile.table["strands"]:
        if row.get("stand_in") is not None and row["input"] not in lending:
            yield f"NOTE: input {row['input']}: {row['material']} lacks nothing, so its stand_in lends nothing."


def _notes(profile: Profile) -> Iterator[str]:
    """Tell, last and at the margin, what makes a sound profile watch less than its owner thinks, or not at all."""
    yield from _idle_stand_ins(profile)
    yield from current_notes(_input_rows(profile))
    link = profile.link
    if link is None:
        yield "NOTE: before you can watch, the profile needs a [link]: how to reach the machine."
        return
    fed = inputs_reported(link)
    unknown = [strand.input for strand in profile.parameters.strands if strand.input not in fed]
    if unknown:
        yield (
            f"NOTE: !!! the link never reports the feed of input {', '.join(map(str, unknown))}: it counts as standing"
            " still, however much is fed. Map it in [link], unless that is what you want. !!!"
        )
    if isinstance(link, SerialSettings) and not link.open_is_safe:
        yield (
            "NOTE: before you can watch: opening the port can restart some controllers, so watch will refuse until"
            " open_is_safe = true stands in [link], or --i-know-open-may-reset is given."
        )
