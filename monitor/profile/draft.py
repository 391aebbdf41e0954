"""What could be read of a profile, table by table, so that a fault in one hides none in another.

Owns that lenient reading. Knows nothing of what must go together (`checks`), nor how faults are told.
"""

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, TypeVar

from pydantic import BaseModel, TypeAdapter, ValidationError

from monitor.profile.link_mapping import Link
from monitor.profile.model import (
    DEFAULT_FILAMENT_MM,
    AlertTable,
    ColdEndTable,
    HeaterTable,
    InputTable,
    LinkTable,
    MotionTable,
    StrandTable,
    ZoneTable,
)

Row = TypeVar("Row", bound=BaseModel)


@dataclass(frozen=True, slots=True)
class Draft:
    """The readable part of a profile; arrays are keyed by place, and a place with an unreadable table is absent."""

    filament_diameter_mm: float | None
    zones: Mapping[int, ZoneTable]
    zone_count: int
    cold_end: ColdEndTable | None
    has_cold_end: bool  # readable or not
    heaters: Mapping[int, HeaterTable]
    inputs: Mapping[int, InputTable]
    strands: Mapping[int, StrandTable]
    strand_count: int
    alerts: AlertTable | None
    link: Link | None
    motion: MotionTable | None


def draft(table: Mapping[str, Any]) -> Draft:
    """Read every table of the profile on its own and keep those that are well formed."""
    return Draft(
        filament_diameter_mm=_diameter_mm(table),
        zones=_rows(ZoneTable, table.get("zones")),
        zone_count=len(_listed_tables(table.get("zones"))),
        cold_end=_rows(ColdEndTable, [table.get("cold_end")]).get(0),
        has_cold_end="cold_end" in table,
        heaters=_rows(HeaterTable, table.get("heaters")),
        inputs=_rows(InputTable, table.get("inputs")),
        strands=_rows(StrandTable, table.get("strands")),
        strand_count=len(_listed_tables(table.get("strands"))),
        alerts=_rows(AlertTable, [table.get("alerts", {})]).get(0),
        link=_link(table.get("link")),
        motion=_rows(MotionTable, [table.get("motion", {})]).get(0),
    )


def _rows(model: type[Row], raw: object) -> dict[int, Row]:
    """Read each table that is well formed but for keys not known; the check of the whole file tells of the others."""
    rows: dict[int, Row] = {}
    for place, entry in enumerate(_listed_tables(raw)):
        known = {key: entry[key] for key in entry if key in model.model_fields} if isinstance(entry, Mapping) else entry
        with suppress(ValidationError):
            rows[place] = model.model_validate(known)
    return rows


def _listed_tables(raw: object) -> Sequence[object]:
    return raw if isinstance(raw, list) else ()


def _diameter_mm(table: Mapping[str, Any]) -> float | None:
    value = table.get("filament_diameter_mm", DEFAULT_FILAMENT_MM)
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _link(raw: object) -> Link | None:
    adapter: TypeAdapter[Link] = TypeAdapter(LinkTable)
    with suppress(ValidationError):
        return None if raw is None else adapter.validate_python(raw)
    return None
