"""What a machine said, as data: the four events every connector yields.

Owns the words and units of telemetry. Knows nothing of wires, files, clocks or the heat model. This is the one
module of `connectors` that `monitor.core` may import.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final

CHANNEL_UNITS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "temp_c": "°C",  # wall temperature at a sensor
        "set_c": "°C",  # set point of that sensor's heater; 0 means off
        "duty": "-",  # heater duty, 0..1, of the heater at that sensor
        "fed_mm": "mm",  # per input: cumulative commanded feed, signed, retraction lowers it
        "sensed_mm": "mm",  # per input: cumulative feed measured by an encoder
        "stall": "-",  # per input: 1 while the driver itself reports a stall, else 0
        "progress": "-",  # share of the build file that has been run, 0..1
        "file_byte": "byte",  # offset reached in the build file
    }
)
"""Kind of a channel -> its unit. Kinds that belong to the machine as a whole carry no name behind them."""

MACHINE_CHANNELS: Final = frozenset({"progress", "file_byte"})


class Execution(StrEnum):
    """State of the machine's program, in the words of MTConnect's EXECUTION."""

    READY = "READY"
    ACTIVE = "ACTIVE"
    INTERRUPTED = "INTERRUPTED"
    FEED_HOLD = "FEED_HOLD"
    WAIT = "WAIT"
    STOPPED = "STOPPED"
    OPTIONAL_STOP = "OPTIONAL_STOP"
    PROGRAM_STOPPED = "PROGRAM_STOPPED"
    PROGRAM_COMPLETED = "PROGRAM_COMPLETED"


@dataclass(frozen=True, slots=True)
class Sample:
    """Values read at one moment.

    Parameters
    ----------
    time_s : float
        Time of receipt on the watch's own monotonic clock since the session began [s].
    values : Mapping[str, float]
        Channel name (see `channel`) -> finite value in the unit of `CHANNEL_UNITS`. A value that was not reported
        is absent: never 0, never NaN. A sample may carry any part of the channels.
    execution : Execution or None
        State of the machine's program; None when not reported with this sample.
    """

    time_s: float
    values: Mapping[str, float]
    execution: Execution | None = None


@dataclass(frozen=True, slots=True)
class Tick:
    """Time passed; sent about once a second by live links, so that silence is noticed without a clock."""

    time_s: float


@dataclass(frozen=True, slots=True)
class LinkChange:
    """The link, or the controller at its far end, changed state.

    `available` says whether data can be expected from now on; `reason` tells in plain words what happened and,
    where the owner can do something, what. A restart of the controller is a LinkChange that leaves it available.
    `feed_unknown` says that what strands fed since the last report was counted by nobody: the counters go on as if they
    had stood.
    """

    time_s: float
    available: bool
    reason: str
    feed_unknown: bool = False


@dataclass(frozen=True, slots=True)
class Malformed:
    """Input that could not be understood. It is counted and recorded; nothing is taken from it."""

    time_s: float
    reason: str
    excerpt: str


Event = Sample | Tick | LinkChange | Malformed


def channel(kind: str, of: str | int | None = None) -> str:
    """Name of a channel: `kind` alone for the machine as a whole, else `kind:sensor` or `kind:input`.

    Raises ValueError for an unknown kind, and for a name missing or too many.

    >>> channel("temp_c", "manifold"), channel("fed_mm", 3), channel("progress")
    ('temp_c:manifold', 'fed_mm:3', 'progress')
    """
    if kind not in CHANNEL_UNITS:
        raise ValueError(f"channel kind {kind!r} is unknown; allowed: {', '.join(CHANNEL_UNITS)}")
    if (kind in MACHINE_CHANNELS) != (of is None):
        needs = "takes no name" if kind in MACHINE_CHANNELS else "needs the name of a sensor or the number of an input"
        raise ValueError(f"channel kind {kind!r} {needs}; got {of!r}")
    return kind if of is None else f"{kind}:{of}"
