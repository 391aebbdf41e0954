"""The replies of a serial controller, as data: what one line can say.

Owns the types only. Knows nothing of bytes, of time, or of what the watch makes of a reply.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Restart:
    """The banner a controller prints when it starts: everything it said before is void."""


@dataclass(frozen=True, slots=True)
class Wait:
    """A keep-alive: the controller has nothing to do."""


@dataclass(frozen=True, slots=True)
class Busy:
    """A keep-alive while a command blocks the controller."""

    why: str


@dataclass(frozen=True, slots=True)
class Ok:
    """A command was taken. Line number and free slots, where the controller adds them."""

    number: int | None = None
    plan_free: int | None = None
    command_free: int | None = None


@dataclass(frozen=True, slots=True)
class Failure:
    """An error the controller reports; `is_fatal` when it gave up."""

    text: str
    is_fatal: bool


@dataclass(frozen=True, slots=True)
class Resend:
    """The controller asks whoever sends it numbered lines to send one again. Never meant for a watcher."""

    number: int


@dataclass(frozen=True, slots=True)
class Note:
    """Free text: a comment or an echo. No number is ever taken out of it."""

    text: str
    is_echo: bool


@dataclass(frozen=True, slots=True)
class Action:
    """A comment with a fixed form that names something the controller does or wants done."""

    name: str


@dataclass(frozen=True, slots=True)
class Storage:
    """How far a build from the controller's own storage has got [byte]; both None when none is running."""

    byte: int | None = None
    of: int | None = None


@dataclass(frozen=True, slots=True)
class Capability:
    """Something the controller says it can do, or not."""

    name: str
    is_on: bool


@dataclass(frozen=True, slots=True)
class ActiveTool:
    """The tool that moves of the feed axis now belong to; negative for none."""

    tool: int


@dataclass(frozen=True, slots=True)
class Flow:
    """A factor on the feed of one tool."""

    tool: int
    percent: float


@dataclass(frozen=True, slots=True)
class Heat:
    """One heater's temperature and set point [°C]; None where not reported or where no sensor or heater is there."""

    now_c: float | None
    set_c: float | None = None


@dataclass(frozen=True, slots=True)
class Temperatures:
    """A temperature report.

    Parameters
    ----------
    is_answer : bool
        The line began with the acknowledgement `ok`.
    heats : Mapping[str, Heat]
        Heater word (`T` the active tool's, `T0`, `B` bed, `C` chamber, ...) -> its heat.
    power : Mapping[str, float]
        Heater word -> duty as reported, on the controller's own scale.
    waits_for : int or None
        Tool whose temperature a running command waits for.
    wait_s : float or None
        Seconds the temperature must still hold.
    is_waiting : bool
        A running command waits for a temperature.
    """

    is_answer: bool
    heats: Mapping[str, Heat]
    power: Mapping[str, float]
    waits_for: int | None = None
    wait_s: float | None = None
    is_waiting: bool = False


@dataclass(frozen=True, slots=True)
class Position:
    """A position report [mm]: where the end of the motion queue is, not where the nozzle is.

    `feed_mm` is the single feed axis; `drives_mm` has one value per drive, where the controller reports them. `count`
    holds motor steps and is only informative.
    """

    is_answer: bool
    axes_mm: Mapping[str, float]
    feed_mm: float | None
    drives_mm: Mapping[int, float]
    count: Mapping[str, float] | tuple[float, ...] | None = None


@dataclass(frozen=True, slots=True)
class Document:
    """A JSON object in one line; numbers that are not finite are None."""

    is_answer: bool
    content: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Unknown:
    """Clean text that fits no form known here."""

    text: str


@dataclass(frozen=True, slots=True)
class Unreadable:
    """A line that cannot be what was sent; `is_garbage` when so much of it is broken that the speed may be wrong."""

    reason: str
    is_garbage: bool


Reply = (
    Restart
    | Wait
    | Busy
    | Ok
    | Failure
    | Resend
    | Note
    | Action
    | Storage
    | Capability
    | ActiveTool
    | Flow
    | Temperatures
    | Position
    | Document
    | Unknown
    | Unreadable
)
