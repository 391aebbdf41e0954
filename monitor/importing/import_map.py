"""The map of a foreign file: which column is which channel, what the times mean, how lines are marked.

Owns the keys of the map's file (TOML), their limits and defaults. Knows nothing of the file that is mapped.
"""

from pathlib import Path
from typing import Annotated, Final, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from connectors.clean_text import clean_text
from connectors.telemetry import CHANNEL_UNITS, MACHINE_CHANNELS, Execution
from monitor.exit_codes import WrongUseError
from monitor.importing.units import Scale, units_of
from monitor.profile.faults import fault, findings
from monitor.text_file import UnreadableError, read_text_file, tables_of

_HIGHEST_INPUT: Final = 64
_LONGEST_CHANNEL: Final = 60
_PER_INPUT: Final = frozenset({"fed_mm", "sensed_mm", "stall"})

Number = Annotated[float, Field(allow_inf_nan=False)]
TimeUnit = Literal["s", "ms", "us", "min", "h", "iso8601", "epoch_s", "epoch_ms"]


class MapTable(BaseModel):
    """Any table of the map: frozen, and a key it does not know is a fault."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class TimeColumn(MapTable):
    """`[time]`: the column of times. Without one, rows are `spacing_s` apart."""

    column: str | None = None
    unit: TimeUnit = "s"
    spacing_s: Annotated[Number, Field(gt=0, le=3600)] | None = None
    utc_offset_h: Annotated[Number, Field(ge=-14, le=14)] | None = None

    @model_validator(mode="after")
    def _one_of_two(self) -> Self:
        if (self.column is None) == (self.spacing_s is None):
            raise ValueError("give either column, or spacing_s where the file has no times")
        return self


class Column(MapTable):
    """One `[columns."HEADING"]`: the channel it is, and what makes our unit of its numbers."""

    channel: str
    unit: str | None = None
    factor: Annotated[Number, Field(ge=-1e9, le=1e9)] = 1.0
    offset: Annotated[Number, Field(ge=-1e9, le=1e9)] = 0.0
    counts: Literal["total", "since the row before"] = "total"

    @field_validator("channel")
    @classmethod
    def _known(cls, channel: str) -> str:
        why_not = channel_fault(channel)
        if why_not:
            raise ValueError(why_not)
        return channel

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        kind = self.kind
        if self.unit is not None and self.unit not in units_of(kind):
            raise ValueError(f"unit {self.unit!r} is none of a {kind}; allowed: {', '.join(units_of(kind))}")
        if self.unit is not None and (self.factor, self.offset) != (1.0, 0.0):
            raise ValueError("give unit, or factor and offset, not both")
        if self.counts != "total" and kind not in {"fed_mm", "sensed_mm"}:
            raise ValueError("counts has a meaning only for fed_mm and sensed_mm")
        return self

    @property
    def kind(self) -> str:
        """Kind of the channel."""
        return self.channel.partition(":")[0]

    @property
    def scale(self) -> Scale:
        """What makes our value of theirs."""
        return Scale(self.factor, self.offset) if self.unit is None else units_of(self.kind)[self.unit]


class ExecutionColumn(MapTable):
    """`[execution]`: the column that names the program's state; MTConnect's own words need no translation."""

    column: str
    words: dict[str, Execution] = {}


class LineMarks(MapTable):
    """`[lines]`, for logs and message streams: what stands before the machine's own words on each line."""

    stamps: Literal["none", "s", "epoch_s", "epoch_ms", "iso8601", "clock"] | None = None
    spacing_s: Annotated[Number, Field(gt=0, le=3600)] | None = None
    received: Annotated[str, Field(min_length=1, max_length=40)] | None = None
    sent: Annotated[str, Field(min_length=1, max_length=40)] | None = None
    utc_offset_h: Annotated[Number, Field(ge=-14, le=14)] | None = None


class ImportMap(MapTable):
    """The whole map."""

    separator: Literal[",", ";", "\t", "|"] | None = None
    decimal: Literal[".", ","] = "."
    time: TimeColumn | None = None
    columns: dict[str, Column] = {}
    execution: ExecutionColumn | None = None
    lines: LineMarks = LineMarks()

    @model_validator(mode="after")
    def _marks_differ(self) -> Self:
        if self.separator == self.decimal:
            raise ValueError("separator and decimal are the same")
        return self

    @field_validator("columns")
    @classmethod
    def _each_channel_once(cls, columns: dict[str, Column]) -> dict[str, Column]:
        channels = [column.channel for column in columns.values()]
        twice = sorted({name for name in channels if channels.count(name) > 1})
        if twice:
            raise ValueError(f"channel {twice[0]} is given to two columns")
        return columns


def channel_fault(channel: str) -> str:
    """Why a text is no name of a channel; empty when it is one.

    >>> channel_fault("fed_mm:0")
    'fed_mm needs the number of an input, 1 to 64, as in fed_mm:1'
    """
    kind, has_owner, owner = channel.partition(":")
    if kind not in CHANNEL_UNITS:
        return f"is no channel; allowed: {', '.join(CHANNEL_UNITS)}, with :SENSOR or :INPUT behind it"
    if kind in MACHINE_CHANNELS:
        return f"{kind} takes no name" if has_owner else ""
    if clean_text(channel, _LONGEST_CHANNEL) != channel or not owner.strip():
        return f"{kind} needs a name behind it, as in {kind}:manifold, of characters that can be shown"
    is_number = owner.isascii() and owner.isdecimal() and owner == str(int(owner)) and 1 <= int(owner) <= _HIGHEST_INPUT
    if kind in _PER_INPUT and not is_number:
        return f"{kind} needs the number of an input, 1 to {_HIGHEST_INPUT}, as in {kind}:1"
    return ""


def load_map(path: Path) -> ImportMap:
    """Read the map's file.

    Raises
    ------
    WrongUseError
        With all that is wrong in it.
    """
    name = clean_text(str(path), 500)
    try:
        table = tables_of(read_text_file(path))
    except UnreadableError as error:
        raise WrongUseError(f"{name}: {error}") from error
    try:
        return ImportMap.model_validate(table)
    except ValidationError as error:
        told = [fault(name, table, finding) for finding in findings(error, ImportMap, table)]
        raise WrongUseError("\n".join(map(str, told))) from error
