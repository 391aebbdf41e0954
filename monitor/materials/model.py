"""A material's table as typed data: its keys with their units, plausible ranges, and the status of each value.

Owns the shape of one table, one key at a time. Does not know what must hold between keys (`checks`), where
tables come from (`files`), or what the engine makes of them (`known`).
"""

from typing import Annotated, Any, Final, Generic, Literal, Self, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints, model_validator

from connectors.clean_text import clean_text

_LONGEST: Final = 600


def _showable(text: str) -> str:
    if clean_text(text, _LONGEST) != text:
        raise ValueError("only characters that can be shown")
    return text


Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Text = Annotated[str, StringConstraints(max_length=_LONGEST), AfterValidator(_showable)]

# Beyond these bounds a value is taken for a slip of the pen or of the unit. They hold every thermoplastic, with room.
Celsius = Annotated[Number, Field(ge=-150, le=500)]
Wall = Annotated[Number, Field(ge=20, le=500)]
Energy = Annotated[Number, Field(ge=10, le=500)]
Minutes = Annotated[Number, Field(gt=0, le=100_000)]
Factor = Annotated[Number, Field(ge=1, le=100)]
Density = Annotated[Number, Field(ge=500, le=5000)]
HeatCapacity = Annotated[Number, Field(ge=500, le=5000)]
Conductivity = Annotated[Number, Field(ge=0.05, le=5)]

Status = Literal["V", "D", "M", "J", "N", "V/M", "V/J", "D/M", "own", "bench", "invented"]

STATUSES: Final = {
    "V": "read in the source named",
    "D": "derived from values read",
    "M": "from memory, not looked up",
    "J": "judgement; a source named is what it leans on",
    "N": "no source found: a stand-in",
    "own": "the owner's, from the file named",
    "bench": "the owner's, found in a bench test",
    "invented": "invented, for the demo only",
}
"""Meaning of each status. Two joined by a stroke: partly the one, partly the other; the note says which."""

_WEAKEST_FIRST: Final = ("invented", "N", "J", "M", "D", "V", "own", "bench")

N = TypeVar("N")


class MaterialsTable(BaseModel):
    """Any table of a materials file: frozen, and a key it does not know is a fault."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Value(MaterialsTable, Generic[N]):
    """One value with what is known about it.

    `value` is the best single number and `low` to `high` its range; `used` is what the engine takes where caution asks
    for another one.
    """

    value: N
    low: N | None = None
    high: N | None = None
    used: N | None = None
    status: Status
    source: Text = ""
    note: Text = ""

    @property
    def number(self) -> N:
        """The number that the engine takes."""
        return self.value if self.used is None else self.used

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        known: list[Any] = [number for number in (self.low, self.value, self.high) if number is not None]
        if known != sorted(known):
            raise ValueError("low, value and high are not in ascending order")
        return self


class Thermal(MaterialsTable):
    """What a polymer's and a liner's table share."""

    title: Text = ""
    note: Text = ""
    goes_wrong: Text = ""
    glass_c: Annotated[Value[Celsius] | None, Field(description="glass transition")] = None
    melt_c: Annotated[Value[Celsius] | None, Field(description="melting temperature")] = None
    density_kg_m3: Annotated[Value[Density] | None, Field(description="density, solid")] = None
    heat_capacity_j_kg_k: Annotated[Value[HeatCapacity] | None, Field(description="specific heat, solid")] = None
    conductivity_w_m_k: Annotated[Value[Conductivity] | None, Field(description="thermal conductivity, solid")] = None


class PolymerTable(Thermal):
    """A polymer that a strand can be made of. Every key may be absent: a file may override just one of them."""

    kind: Literal["polymer", "liner"] = "polymer"
    structure: Literal["amorphous", "semi-crystalline"] | None = None
    process_c: Annotated[Value[Wall] | None, Field(description="processing range")] = None
    ceiling_c: Annotated[Value[Wall] | None, Field(description="hottest wall at all")] = None
    reference_c: Annotated[Value[Wall] | None, Field(description="reference of the dose")] = None
    ea_below_kj_mol: Annotated[Value[Energy] | None, Field(description="activation energy below it")] = None
    ea_best_kj_mol: Annotated[Value[Energy] | None, Field(description="best activation energy")] = None
    ea_above_kj_mol: Annotated[Value[Energy] | None, Field(description="activation energy above it")] = None
    warn_min: Annotated[Value[Minutes] | None, Field(description="dose to warn at")] = None
    limit_min: Annotated[Value[Minutes] | None, Field(description="dose not to be passed")] = None
    wet_factor: Annotated[Value[Factor] | None, Field(description="faster when not dried")] = None
    min_feed_c: Annotated[Value[Wall] | None, Field(description="lowest wall to feed at")] = None


class LinerTable(Thermal):
    """A material that tubes in the hot path are made of: limits of its temperature, no dose."""

    kind: Literal["polymer", "liner"] = "liner"
    warn_c: Annotated[Value[Wall] | None, Field(description="warn above")] = None
    alarm_c: Annotated[Value[Wall] | None, Field(description="alarm above")] = None
    stop_c: Annotated[Value[Wall] | None, Field(description="stop heating above")] = None


Entry = PolymerTable | LinerTable


def values(entry: Entry) -> dict[str, Value[float]]:
    """Give the values that a table holds, by key, in the order of the model."""
    return {key: value for key in type(entry).model_fields if isinstance(value := getattr(entry, key), Value)}


def weakest(statuses: list[Status]) -> str:
    """Give the status that promises least; of a joined one its weaker part counts.

    >>> weakest(["V", "V/M", "D"])
    'M'
    """
    return min((part for status in statuses for part in status.split("/")), key=_WEAKEST_FIRST.index)
