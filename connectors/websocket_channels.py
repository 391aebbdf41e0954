"""The `[link.channels]` table: where in the status each channel stands, and in which unit. Settings only."""

import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Annotated, Final, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from connectors.telemetry import CHANNEL_UNITS, MACHINE_CHANNELS, Execution, channel
from connectors.websocket_messages import PointerText, Scalar

EXECUTION: Final = "execution"
INPUT_KINDS: Final = frozenset({"fed_mm", "sensed_mm", "stall"})
COUNTER_KINDS: Final = frozenset({"fed_mm", "sensed_mm"})
MOST_INPUTS: Final = 64
_INPUT: Final = re.compile(r"[1-9][0-9]?", re.ASCII)

Unit = Literal["C", "F", "K", "mm", "m", "um", "ratio", "percent", "byte"]

UNITS: Final[Mapping[str, tuple[Unit, ...]]] = MappingProxyType(
    {
        "temp_c": ("C", "F", "K"),
        "set_c": ("C", "F", "K"),
        "duty": ("ratio", "percent"),
        "fed_mm": ("mm", "m", "um"),
        "sensed_mm": ("mm", "m", "um"),
        "progress": ("ratio", "percent"),
        "file_byte": ("byte",),
    }
)
"""Kind of a channel -> units it may be reported in; the first is meant when none is given."""

Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Factor = Annotated[Number, Field(ge=-1e12, le=1e12)]


class _Table(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class FindByName(_Table):
    """Finds an element by what stands in it, so that it does not matter in which order the machine lists them."""

    among: PointerText = Field(description="pointer to the array (or object) of elements")
    where: PointerText = Field(description="pointer into each element")
    equals: Scalar = Field(description="the element is the one in which exactly this stands at `where`")
    value: PointerText = Field(default="", description="pointer into the element found")


class ChannelSource(_Table):
    """Where one channel stands in the status, and how it is read: value = (reported * scale + offset), in `unit`."""

    pointer: PointerText | None = Field(default=None, description="place in the status; or use find")
    find: FindByName | None = Field(default=None, description="place in the status, by name; or use pointer")
    scale: Factor = Field(default=1.0, description="multiplies what is reported")
    offset: Factor = Field(default=0.0, description="is added after scaling, in `unit`")
    unit: Unit | None = Field(default=None, description="unit of the scaled value; °C, mm, ratio or byte by default")
    wrap: Annotated[Number, Field(gt=0)] | None = Field(
        default=None, description="feed: the reported number at which the machine's counter begins again at 0"
    )
    accept_strings: bool = Field(default=False, description='true: take "201.5" in quotes for a number')
    min: Number | None = Field(default=None, description="a value below this cannot be true; in °C, mm, ratio or byte")
    max: Number | None = Field(default=None, description="a value above this cannot be true; in °C, mm, ratio or byte")
    numbers: dict[str, Number] = Field(
        default_factory=dict,
        max_length=100,
        description="reported word (also true, false, null) -> value, in °C, mm, ratio or byte",
    )
    words: dict[str, Execution] = Field(
        default_factory=dict, max_length=100, description="execution: reported word, number or null -> our word"
    )

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        if (self.pointer is None) == (self.find is None):
            raise ValueError("give exactly one of pointer and find")
        if self.scale == 0:
            raise ValueError("scale 0 would make every value 0")
        if self.min is not None and self.max is not None and self.min >= self.max:
            raise ValueError(f"min ({self.min:g}) must be below max ({self.max:g})")
        return self


def kind_of(name: str) -> str:
    """Kind of a channel's name.

    >>> kind_of("fed_mm:2")
    'fed_mm'
    """
    return name.partition(":")[0]


def owner_of(name: str) -> str:
    """Sensor or input that a channel's name belongs to; empty for the machine as a whole."""
    return name.partition(":")[2]


def check_channel(name: str, source: ChannelSource) -> None:
    """Raise ValueError when a name is no channel, or its source holds what such a channel cannot have."""
    kind, owner = kind_of(name), owner_of(name)
    if name != EXECUTION:
        _check_name(name, kind, owner)
    if (name == EXECUTION) != bool(source.words):
        raise ValueError(f"{name}: words are needed for execution, and have a meaning for nothing else")
    if source.unit is not None and source.unit not in UNITS.get(kind, ()):
        raise ValueError(f"{name}: unit {source.unit!r} does not fit; allowed: {', '.join(UNITS.get(kind, ())) or '-'}")
    if source.wrap is not None and kind not in COUNTER_KINDS:
        raise ValueError(f"{name}: only feed counters wrap")
    if name == EXECUTION and source.model_fields_set - {"pointer", "find", "words"}:
        raise ValueError(f"{name}: it is a word; besides words only pointer or find have a meaning")


def _check_name(name: str, kind: str, owner: str) -> None:
    if kind not in CHANNEL_UNITS:
        raise ValueError(f"{name} is no channel; allowed: {', '.join((*CHANNEL_UNITS, EXECUTION))}")
    if name != channel(kind, None if kind in MACHINE_CHANNELS else owner) or bool(owner) == (kind in MACHINE_CHANNELS):
        needs = "stands alone" if kind in MACHINE_CHANNELS else f"needs a name behind it, such as {kind}:manifold"
        raise ValueError(f"{name}: {kind} {needs}")
    if kind in INPUT_KINDS and not (_INPUT.fullmatch(owner) and int(owner) <= MOST_INPUTS):
        raise ValueError(f"{name}: {kind} needs the number of an input, {kind}:1 to {kind}:{MOST_INPUTS}")
