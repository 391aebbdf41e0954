"""The machine profile as typed data: its keys with their units, types, ranges and defaults.

Owns the shape of the file, one key at a time. Does not know what must go together across keys (`checks`),
how a fault is told (`faults`), or what a material is (`materials`).
"""

from dataclasses import dataclass
from typing import Annotated, Any, Final, Literal, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints, model_validator

from connectors.clean_text import clean_text
from connectors.serial_settings import Input, Mix, Tool
from monitor.profile.link_mapping import Link

DEFAULT_FILAMENT_MM: Final = 1.75
NO_SOURCE: Final = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Origin:
    """Where the default of a key comes from; printed whenever that default is used."""

    text: str


def _showable(text: str) -> str:
    if clean_text(text) != text:
        raise ValueError("only characters that can be shown, at most 200")
    return text


Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Flag = Annotated[bool, Field(strict=True)]
Text = Annotated[str, StringConstraints(max_length=200), AfterValidator(_showable)]
Name = Annotated[str, StringConstraints(min_length=1, max_length=60), AfterValidator(_showable)]
InputNumber = Annotated[int, Field(strict=True, ge=1, le=64)]
WallTemperature = Annotated[Number, Field(ge=20, le=500)]
RoomTemperature = Annotated[Number, Field(ge=-20, le=90)]
DoseMinutes = Annotated[Number, Field(gt=0, le=100_000)]
Current = Annotated[Number, Field(gt=0, le=10)]


class ProfileTable(BaseModel):
    """Any table of the profile: frozen, and a key it does not know is a fault."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class ZoneTable(ProfileTable):
    """One `[[zones]]`: a length of the hot path.

    Exactly one of `sensor`, `bridge`, `ambient` and `estimated` says its wall law; but an estimated one may name the
    sensor whose reading it stands for.
    """

    name: Name
    length_mm: Annotated[Number, Field(ge=0.1, le=1000)]
    bore_mm: Annotated[Number, Field(ge=0.2, le=10)]
    sensor: Name | None = None
    bridge: Flag = False
    ambient: Flag = False
    estimated: Flag = False
    liner: Name | None = None
    liner_mm: Annotated[Number, Field(gt=0, le=5)] | None = None
    wetted: Flag = False
    ends_at_merge_point: Flag = False


class ColdEndTable(ProfileTable):
    """`[cold_end]`: the metal of the cold end as one lump, for all inputs together, where no sensor tells of it."""

    heat_capacity_j_k: Annotated[Number, Field(ge=1, le=100_000)]
    from_manifold_w_k: Annotated[Number, Field(ge=0.0001, le=100)]
    to_coolant_w_k: Annotated[Number, Field(ge=0.001, le=1000)]
    coolant_c: RoomTemperature | None = None


class HeaterTable(ProfileTable):
    """One `[[heaters]]`; `tool` is the number by which a build file sets it."""

    name: Name
    sensor: Name
    power_w: Annotated[Number, Field(gt=0, le=10_000)]
    tool: Annotated[int, Field(strict=True, ge=0, le=99)] | None = None


class InputTable(ProfileTable):
    """One `[[inputs]]`: a feed path and what is known of its drive.

    The feed for one full step is told by `mm_per_full_step`, or follows from `drive_diameter_mm`. What
    `motor_current_a` is of the driver's sine, `motor_current_is` says; `holding_torque_n_cm` is the maker's, at the
    rated current.
    """

    input: InputNumber
    mm_per_full_step: Annotated[Number, Field(gt=0, le=5)] | None = None
    drive_diameter_mm: Annotated[Number, Field(ge=2, le=100)] | None = None
    gear_ratio: Annotated[Number, Field(ge=0.05, le=200)] | None = None
    full_steps_per_turn: Annotated[int, Field(strict=True, ge=12, le=1000)] | None = None
    motor_current_a: Current | None = None
    motor_current_is: Literal["peak", "rms"] | None = None
    rated_current_a: Current | None = None
    holding_torque_n_cm: Annotated[Number, Field(gt=0, le=1000)] | None = None
    encoder_mm_per_count: Annotated[Number, Field(gt=0, le=20)] | None = None


class StrandTable(ProfileTable):
    """One `[[strands]]`: the filament loaded in an input; the last four keys override its material.

    `stand_in` names the material that lends what `material` lacks; without it a material that lacks values is refused.
    """

    input: InputNumber
    material: Name
    stand_in: Name | None = None
    label: Text = ""
    lot: Text = ""
    dried: Annotated[Flag, Origin("cautious: a strand not said to be dried ages at its material's wet rate")] = False
    min_feed_c: WallTemperature | None = None
    warn_min: DoseMinutes | None = None
    limit_min: DoseMinutes | None = None
    ceiling_c: WallTemperature | None = None


class AlertTable(ProfileTable):
    """`[alerts]`: limits that belong to the watch, not to a material; and where the notification channels stand."""

    idle_backstop_h: Annotated[Number, Field(ge=0.1, le=240), Origin(NO_SOURCE)] = 8.0
    softening_warn_min: Annotated[Number, Field(gt=0, le=1e4), Origin(NO_SOURCE)] = 10.0
    softening_limit_min: Annotated[Number, Field(gt=0, le=1e5), Origin(NO_SOURCE)] = 30.0
    stale_after_s: Annotated[Number, Field(ge=0.5, le=600), Origin(NO_SOURCE)] = 5.0
    unavailable_after_s: Annotated[Number, Field(ge=1, le=3600), Origin(NO_SOURCE)] = 55.0
    cold_end_margin_k: Annotated[Number, Field(ge=0, le=60), Origin(NO_SOURCE)] = 8.0
    notify_file: Annotated[Text, Field(min_length=1)] | None = None


Limit = Annotated[Number, Field(ge=0.01, le=1e6)]
Length = Annotated[Number, Field(ge=0, le=1000)]
Option = Annotated[Flag, Origin(NO_SOURCE)]


class AxisTable(ProfileTable):
    """A limit for each axis, where one is known."""

    x: Limit | None = None
    y: Limit | None = None
    z: Limit | None = None
    e: Limit | None = None


class MotionTable(ProfileTable):
    """`[motion]`: what is needed to read build files, and only for that."""

    acceleration_mm_s2: Annotated[Limit, Origin("a guess: give it for a planned time worth having")] = 1500.0
    axis_acceleration_mm_s2: AxisTable = AxisTable()
    axis_speed_mm_s: AxisTable = AxisTable()
    corner_deviation_mm: Annotated[Number, Field(ge=0.0001, le=10), Origin(NO_SOURCE)] = 0.013
    corner_speed_mm_s: Annotated[Number, Field(ge=0.01, le=1000)] | None = None
    toolchange_s: Annotated[Number, Field(ge=0, le=3600), Origin(NO_SOURCE)] = 20.0
    tool_heating_k_s: Annotated[Number, Field(ge=0.01, le=100), Origin(NO_SOURCE)] = 2.0
    plate_heating_k_s: Annotated[Number, Field(ge=0.001, le=100), Origin(NO_SOURCE)] = 0.25
    retract_mm: Annotated[Length, Origin(NO_SOURCE)] = 2.0
    extra_prime_mm: Annotated[Length, Origin(NO_SOURCE)] = 0.0
    retract_speed_mm_s: Annotated[Number, Field(ge=0.1, le=1000), Origin(NO_SOURCE)] = 40.0
    first_tool: Annotated[int, Field(strict=True, ge=0, le=99), Origin(NO_SOURCE)] = 0
    input_of_tool: dict[Tool, Input] = {}
    mixes: dict[Tool, Mix] = {}
    changes_on_m6: Option = False
    g90_sets_e: Option = False
    dwell_p_in_seconds: Option = False
    speeds_per_minute: Option = False
    e_per_tool: Option = False
    mixes_at_once: Option = False

    @model_validator(mode="after")
    def _each_tool_once(self) -> Self:
        twice = sorted(set(self.mixes) & set(self.input_of_tool))
        if twice:
            raise ValueError(f"tool {twice[0]} stands in both input_of_tool and mixes; keep one of the two")
        return self


_BLOCK: Final = "judgement: a block of some hundred grams with 60 W, insulated"


class PlanningTable(ProfileTable):
    """`[planning]`: how walls follow their set points and where the cold end stays, only for planning a build."""

    heats_k_s: Annotated[Number, Field(ge=0.01, le=20), Origin(_BLOCK)] = 0.4
    cools_k_s: Annotated[Number, Field(ge=0.001, le=20), Origin(_BLOCK)] = 0.05
    cold_end_c: RoomTemperature | None = None


LinkTable = Annotated[Link, Field(discriminator="kind")]


class ProfileFile(ProfileTable):
    """The whole file. `materials` is checked by the materials table it overrides."""

    name: Name
    filament_diameter_mm: Annotated[Number, Field(ge=0.5, le=5), Origin(NO_SOURCE)] = DEFAULT_FILAMENT_MM
    ambient_c: Annotated[RoomTemperature, Origin(NO_SOURCE)] = 25.0
    zones: Annotated[tuple[ZoneTable, ...], Field(min_length=1, max_length=40)]
    cold_end: ColdEndTable | None = None
    heaters: tuple[HeaterTable, ...] = ()
    inputs: tuple[InputTable, ...] = ()
    strands: Annotated[tuple[StrandTable, ...], Field(min_length=1, max_length=64)]
    link: LinkTable | None = None
    motion: MotionTable = MotionTable()
    planning: PlanningTable = PlanningTable()
    alerts: AlertTable = AlertTable()
    materials: dict[str, dict[str, Any]] = {}
