"""From the typed profile and the table of materials to what the engine is told.

Owns the overriding of a material by a strand, and the faults that only the materials can show. Knows nothing of where
materials come from, or of files.
"""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import NamedTuple

from monitor.core.parameters import AlertLimits, ColdEnd, Drive, Heater, Material, Parameters, Strand, WallLaw, Zone
from monitor.materials.known import IncompleteMaterialError, MaterialTable, UnknownMaterialError
from monitor.materials.model import Value
from monitor.profile.cold_end import reading_of
from monitor.profile.draft import Draft
from monitor.profile.drives import drive_of
from monitor.profile.faults import Finding
from monitor.profile.model import ProfileFile, StrandTable, ZoneTable


class Loan(NamedTuple):
    """What a stand-in lends a strand whose material lacks it: the numbers, or words, by their keys."""

    input: int
    material: str
    stand_in: str
    values: Mapping[str, float | str]


def check_materials(read: Draft, materials: MaterialTable) -> Iterator[Finding]:
    """Find strands and liners whose material is not known well enough, and limits in the wrong order."""
    for place, row in read.strands.items():
        try:
            material = own_material(row, materials)
        except (UnknownMaterialError, IncompleteMaterialError) as error:
            key = "material" if row.stand_in is None or row.material not in materials.names else "stand_in"
            yield Finding(("strands", place, key), str(error))
        else:
            yield from _order(place, row, material)
    for place, zone in read.zones.items():
        try:
            if zone.liner is not None:
                materials.liner(zone.liner)
        except (UnknownMaterialError, IncompleteMaterialError) as error:
            yield Finding(("zones", place, "liner"), str(error))


def make_parameters(model: ProfileFile, materials: MaterialTable) -> Parameters:
    """Make the engine's parameters of a profile without faults; strands in the order of their inputs."""
    drives = {row.input: drive_of(row) for row in model.inputs}
    return Parameters(
        machine=model.name,
        filament_diameter_mm=model.filament_diameter_mm,
        ambient_c=model.ambient_c,
        zones=tuple(map(_zone, model.zones)),
        last_before_merge=[zone.ends_at_merge_point for zone in model.zones].index(True),
        strands=tuple(_strand(row, materials, drives) for row in sorted(model.strands, key=lambda row: row.input)),
        liners={zone.liner: materials.liner(zone.liner) for zone in model.zones if zone.liner is not None},
        limits=AlertLimits(**model.alerts.model_dump(exclude={"notify_file"})),
        heaters=tuple(Heater(row.name, row.sensor, row.power_w) for row in model.heaters),
        cold_end=_cold_end(model),
    )


def own_material(row: StrandTable, materials: MaterialTable) -> Material:
    """Give the strand's material with the strand's own limits in it.

    An own `limit_min` moves the hopeful end of the limit's range along: it is no better known than the material's.
    An own `min_feed_c` counts as tested.

    Raises
    ------
    UnknownMaterialError, IncompleteMaterialError
        When the table cannot give the material.
    """
    material = materials.material(row.material, row.stand_in)
    limit_min = material.limit_min if row.limit_min is None else row.limit_min
    return replace(
        material,
        limit_min=limit_min,
        limit_high_min=material.limit_high_min * limit_min / material.limit_min,
        warn_min=material.warn_min if row.warn_min is None else row.warn_min,
        ceiling_c=material.ceiling_c if row.ceiling_c is None else row.ceiling_c,
        min_feed_c=material.min_feed_c if row.min_feed_c is None else row.min_feed_c,
        min_feed_is_rule=material.min_feed_is_rule and row.min_feed_c is None,
    )


def loans(model: ProfileFile, materials: MaterialTable) -> tuple[Loan, ...]:
    """Tell what stand-ins lend, in the order of the inputs; one that lends nothing is left out."""
    rows = sorted(model.strands, key=lambda row: row.input)
    return tuple(loan for row in rows if (loan := _loan(row, materials)) is not None)


def _loan(row: StrandTable, materials: MaterialTable) -> Loan | None:
    """Tell what the strand's stand-in lends, but for what the strand has of its own; None when nothing."""
    entry, keys = materials.filled(row.material, row.stand_in)
    lent = {key: getattr(entry, key) for key in keys if getattr(row, key, None) is None}
    values = {key: value.number if isinstance(value, Value) else value for key, value in lent.items()}
    return Loan(row.input, row.material, row.stand_in, values) if row.stand_in is not None and values else None


def _strand(row: StrandTable, materials: MaterialTable, drives: Mapping[int, Drive]) -> Strand:
    loan = _loan(row, materials)
    return Strand(
        input=row.input,
        material=own_material(row, materials),
        label=row.label,
        lot=row.lot,
        dried=row.dried,
        stand_in="" if loan is None else loan.stand_in,
        stand_in_for=() if loan is None else tuple(loan.values),
        drive=drives.get(row.input, Drive()),
    )


def _zone(row: ZoneTable) -> Zone:
    return Zone(
        name=row.name,
        length_mm=row.length_mm,
        bore_mm=row.bore_mm,
        law=_law(row),
        sensor=reading_of(row) if row.estimated else row.sensor,
        liner=row.liner,
        liner_mm=0.0 if row.liner_mm is None else row.liner_mm,
        wetted=row.wetted,
    )


def _law(row: ZoneTable) -> WallLaw:
    if row.estimated:
        return WallLaw.ESTIMATED
    return WallLaw.SENSOR if row.sensor else WallLaw.BRIDGE if row.bridge else WallLaw.AMBIENT


def _cold_end(model: ProfileFile) -> ColdEnd | None:
    row = model.cold_end
    if row is None:
        return None
    coolant_c = model.ambient_c if row.coolant_c is None else row.coolant_c
    return ColdEnd(row.heat_capacity_j_k, row.from_manifold_w_k, row.to_coolant_w_k, coolant_c)


def _order(place: int, row: StrandTable, own: Material) -> Iterator[Finding]:
    if own.min_feed_c >= own.ceiling_c:
        key = "ceiling_c" if row.min_feed_c is None else "min_feed_c"
        problem = "the strand could only feed above its ceiling"
        yield Finding(
            ("strands", place, key), problem, f"min_feed_c below ceiling_c: {own.min_feed_c:g} and {own.ceiling_c:g}"
        )
    if own.warn_min >= own.limit_min:
        key = "limit_min" if row.warn_min is None else "warn_min"
        problem = "the strand would pass its limit without a warning"
        yield Finding(
            ("strands", place, key), problem, f"warn_min below limit_min: {own.warn_min:g} and {own.limit_min:g}"
        )
