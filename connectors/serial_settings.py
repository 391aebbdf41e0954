"""The `[link]` table of a profile for a serial port: what may be set, what is allowed, what it means.

Owns names, limits, defaults and descriptions. Knows nothing of how the port is opened or read.
"""

import re
from collections.abc import Mapping
from math import pi
from typing import Annotated, Final, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from connectors.feed_ledger import DEFAULT_FASTEST_MM_S, DEFAULT_RETRACT_LIMIT_MM, FeedBounds, Shares
from connectors.json_pointer import parse_pointer
from connectors.plausibility import TemperatureBounds
from connectors.serial_documents import JsonPlaces
from connectors.serial_patterns import LinePattern
from connectors.temperature_settings import (
    DEFAULT_FASTEST_K_S,
    DEFAULT_HIGHEST_C,
    DEFAULT_LOWEST_C,
    Fastest,
    Highest,
    Lowest,
)

_HEATER_WORD: Final = re.compile(r"(?:T\d{0,2}|[BCPAR]\d?)", re.ASCII)
_HIGHEST_TOOL: Final = 99

Tool = Annotated[int, Field(ge=0, le=_HIGHEST_TOOL)]
Input = Annotated[int, Field(ge=1, le=64)]
Weight = Annotated[float, Field(ge=0, le=10)]


class Mix(BaseModel):
    """How one tool deals the feed axis out to the inputs."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    weights: dict[Input, Weight] = Field(min_length=1, description="input -> its weight in the mix")
    normalise: bool = Field(
        default=True,
        description="true: weights are proportions of their sum; false: each input moves weight times the axis",
    )

    @model_validator(mode="after")
    def _feeds_something(self) -> Self:
        if sum(self.weights.values()) <= 0:
            raise ValueError("at least one weight must be above 0")
        return self

    def shares(self) -> Shares:
        """Input -> share of the feed axis."""
        whole = sum(self.weights.values()) if self.normalise else 1.0
        return {number: weight / whole for number, weight in self.weights.items()}


class SerialSettings(BaseModel):
    """A controller on a serial port."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    kind: Literal["serial"] = Field(default="serial", description="this link is a serial port")
    port: str = Field(
        min_length=1,
        max_length=300,
        description="device file; prefer the stable names under /dev/serial/by-id/",
    )
    baud: int = Field(
        default=115200,
        ge=300,
        le=4_000_000,
        description="speed [bit/s]; 115200 and 250000 are common, native USB ignores it",
    )
    mode: Literal["listen", "ask"] = Field(
        default="listen",
        description="listen: opened so that the operating system refuses every write; "
        "ask: sends only the queries M105, M27 and, if allowed below, M114",
    )
    open_is_safe: bool = Field(
        default=False,
        description="true once you have checked, with no build running, that opening the port does not restart the "
        "controller",
    )
    position_query_is_safe: bool = Field(
        default=False,
        description="true once you have checked that M114 is answered as fast as M105 while moves are queued; "
        "some controllers first let the queue run dry",
    )
    poll_interval_s: float = Field(
        default=1.0, ge=1.0, le=60.0, description="ask mode: time between two equal queries [s]"
    )
    ask_progress: bool = Field(default=True, description="ask mode: also ask how far a build from storage has got")
    silent_after_s: float = Field(
        default=10.0,
        ge=2.0,
        le=600.0,
        description="after this time without a readable line the link is called silent [s]",
    )
    reconnect_max_s: float = Field(
        default=10.0, ge=0.5, le=300.0, description="longest pause between attempts to reopen [s]"
    )

    sensors: dict[str, str] = Field(
        min_length=1,
        description="our sensor name -> heater word in the controller's reports: T0, T1, ... a tool; "
        "T the active tool; B bed, C chamber, P probe, A ambient, R redundant; or, in controllers that report JSON, a "
        'JSON Pointer such as "/melt/1"',
    )
    duty_full: Literal[127, 255] = Field(default=127, description="what the controller reports for a heater fully on")
    lowest_c: Lowest = DEFAULT_LOWEST_C
    highest_c: Highest = DEFAULT_HIGHEST_C
    fastest_k_s: Fastest = DEFAULT_FASTEST_K_S

    feed: Literal["single_axis", "per_drive"] = Field(
        default="single_axis",
        description="single_axis: one feed value E for the active tool; per_drive: E0, E1, ... one value per drive",
    )
    tool_source: Literal["reported", "fixed"] = Field(
        default="reported",
        description="reported: the controller says which tool is active; fixed: it is always tool_at_start",
    )
    tool_at_start: Tool | None = Field(
        default=None,
        description="tool active when the watch starts and whenever the controller restarts; leave it out unless "
        "you always start the watch before the build",
    )
    input_of_tool: dict[Tool, Input] = Field(
        default_factory=dict, description="tool or drive number of the controller -> our input (counted from 1)"
    )
    mixes: dict[Tool, Mix] = Field(default_factory=dict, description="tools that feed several inputs at once")
    retract_limit_mm: float = Field(
        default=DEFAULT_RETRACT_LIMIT_MM,
        gt=0,
        le=500.0,
        description="longer than any retraction [mm]: a greater fall is a reset",
    )
    fastest_feed_mm_s: float = Field(
        default=DEFAULT_FASTEST_MM_S,
        gt=0,
        le=1000.0,
        description="no drive feeds faster [mm/s]: a greater rise is a jump",
    )
    wrap_mm: float | None = Field(
        default=None, gt=0, description="feed value at which the controller begins again at 0 [mm]"
    )
    volumetric_diameter_mm: float | None = Field(
        default=None, gt=0, le=10.0, description="strand diameter, only where the feed axis counts mm³ instead of mm"
    )
    json_places: JsonPlaces = Field(
        default_factory=JsonPlaces, description="where further values stand, in controllers that report JSON objects"
    )
    patterns: tuple[LinePattern, ...] = Field(
        default=(),
        max_length=32,
        description="further lines that carry values, such as motion sensors and stall reports",
    )

    @field_validator("sensors")
    @classmethod
    def _heater_words(cls, sensors: dict[str, str]) -> dict[str, str]:
        for name, word in sensors.items():
            if word.startswith("/"):
                parse_pointer(word)
            elif not _HEATER_WORD.fullmatch(word):
                raise ValueError(
                    f"{name} = {word!r} is no heater word; allowed: T, T0 to T99, B, C, P, A, R, or a JSON Pointer"
                )
        words = list(sensors.values())
        twice = sorted({word for word in words if words.count(word) > 1})
        if twice:
            raise ValueError(f"heater word {twice[0]} is given to two sensors; a zone may share a sensor instead")
        return sensors

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        _ = self.temperature_bounds  # raises ValueError itself when they leave no temperature
        if self.tool_source == "fixed" and self.tool_at_start is None:
            raise ValueError('tool_source = "fixed" needs tool_at_start: the one tool that is always active')
        twice = sorted(set(self.mixes) & set(self.input_of_tool))
        if twice:
            raise ValueError(f"tool {twice[0]} stands in both input_of_tool and mixes; keep one of the two")
        if self.feed == "per_drive" and self.mixes:
            raise ValueError('feed = "per_drive" reports each drive by itself; mixes then have no meaning: remove them')
        stray = sorted(set(self.json_places.set_points) - set(self.sensors))
        if stray:
            raise ValueError(f"json_places.set_points: {stray[0]} is none of the sensors ({', '.join(self.sensors)})")
        if self.wrap_mm is not None and self.wrap_mm <= 2 * self.retract_limit_mm:
            raise ValueError("wrap_mm must be more than twice retract_limit_mm")
        return self

    @property
    def shares(self) -> Mapping[int, Shares]:
        """Tool -> how its feed is shared among the inputs."""
        alone = {tool: {number: 1.0} for tool, number in self.input_of_tool.items()}
        return {**alone, **{tool: mix.shares() for tool, mix in self.mixes.items()}}

    @property
    def feed_bounds(self) -> FeedBounds:
        """What a counter of feed can do."""
        return FeedBounds(self.retract_limit_mm, self.fastest_feed_mm_s, self.wrap_mm)

    @property
    def temperature_bounds(self) -> TemperatureBounds:
        """Temperatures that can be true."""
        return TemperatureBounds(self.lowest_c, self.highest_c, self.fastest_k_s)

    @property
    def axis_per_mm(self) -> float:
        """Reading of the feed axis per millimetre of strand."""
        return 1.0 if self.volumetric_diameter_mm is None else pi * self.volumetric_diameter_mm**2 / 4
