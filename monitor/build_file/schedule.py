"""What a build file comes to, as plain frozen data.

Owns the shape of the result and a few answers read off it. Knows nothing of files or of how they are read.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

import numpy as np

from monitor.build_file.settings import Mix
from monitor.build_file.tally import Counted
from monitor.build_file.words import Floats, Ints


class Heater(StrEnum):
    """Which kind of heater a set point is for."""

    TOOL = "tool"
    PLATE = "plate"
    CHAMBER = "chamber"


class SetPoint(NamedTuple):
    """A change of a set point.

    Parameters
    ----------
    line : int
        Where it stands (from 1).
    heater : Heater
        The kind of heater.
    number : int
        Number of the tool or heater as written; of a tool that is not named, the active one.
    target_c : float
        What is asked for [°C]; of a wait without a number, what was asked before.
    waits : bool
        The build goes on only when the heater is there.
    is_standby : bool
        For a tool that is not active.
    time_s : float
        Planned time [s].
    """

    line: int
    heater: Heater
    number: int
    target_c: float
    waits: bool
    is_standby: bool = False
    time_s: float = 0.0


class Pause(NamedTuple):
    """A stop whose length nobody can tell from the file: a pause, homing, probing, loading.

    `code` is the command as in the file, `kind` says which of these it is.
    """

    line: int
    code: str
    kind: str
    time_s: float = 0.0


class Layer(NamedTuple):
    """First feeding move at a height."""

    time_s: float
    z_mm: float


class TimeRange(NamedTuple):
    """Planned length of something: as calculated, and between what limits it will be found; a judgement [s]."""

    low_s: float
    planned_s: float
    high_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """Feed of one input, as rows in order of time.

    Parameters
    ----------
    start_s, end_s : array of float
        From the first to the last new feed of a row; of a row without new feed, of any motion [s].
    feed_mm : array of float
        Net feed in it [mm]: retractions are taken off. Added up, it is where the strand is.
    new_mm : array of float
        How far the strand came beyond where it had been before [mm]; never negative.
    """

    start_s: Floats
    end_s: Floats
    feed_mm: Floats
    new_mm: Floats

    def __len__(self) -> int:
        return len(self.start_s)


@dataclass(frozen=True, slots=True, eq=False)
class InputPlan:
    """What a build asks of one input.

    Parameters
    ----------
    number : int
        The input.
    stretches : Stretches
        When it feeds.
    fed_mm : float
        Net feed at the end [mm].
    new_mm : float
        How far the strand comes at most [mm].
    first_s, last_s : float
        Start of the first and end of the last new feed [s]; after `last_s` it is never used again.
    gap_s, gap_start_s : float
        Longest time without new feed between these two, and when it begins [s].
    """

    number: int
    stretches: Stretches
    fed_mm: float
    new_mm: float
    first_s: float
    last_s: float
    gap_s: float
    gap_start_s: float

    def next_use_s(self, time_s: float) -> float | None:
        """When it feeds again at or after a time: that time itself within a row; None when it is never used again."""
        rows = self.stretches
        is_new = rows.new_mm > 0.0
        place = int(np.searchsorted(rows.end_s[is_new], time_s, side="right"))
        starts = rows.start_s[is_new]
        return None if place == len(starts) else max(float(starts[place]), time_s)


@dataclass(frozen=True, slots=True, eq=False)
class Marks:
    """Where in the file the build is at which time: for every thousandth line, and the end.

    Parameters
    ----------
    line : array of int
        Lines before the mark.
    byte : array of int
        Bytes before the mark.
    time_s : array of float
        Planned time at which that line's turn comes [s].
    """

    line: Ints
    byte: Ints
    time_s: Floats

    def time_at(self, byte: float) -> float:
        """Planned time at a place in the file [s]."""
        return float(np.interp(byte, self.byte, self.time_s))


class Times(NamedTuple):
    """Of what the planned time is made up [s]; the number of tool changes is beside it."""

    moving_s: float
    dwell_s: float
    change_s: float
    heating_s: float
    tool_changes: int


@dataclass(frozen=True, slots=True, eq=False)
class BuildSchedule:
    """A build as its file plans it.

    Parameters
    ----------
    lines, bytes : int
        Size of the file.
    moves : int
        Moves in it.
    duration : TimeRange
        How long the build takes, without pauses of unknown length.
    times : Times
        What that is made up of.
    limits_known : bool
        Accelerations come from the profile or the file; else they are a guess.
    inputs : tuple of InputPlan
        Every input that feeds, in order.
    unassigned_mm : float
        Feed by tools of which no input is known [mm].
    tools : Mapping[int, Mix]
        Every tool that the file selects or heats, with its mix at the end.
    set_points : tuple of SetPoint
        Changes of set points, in order.
    pauses : tuple of Pause
        Stops of unknown length, in order.
    layers : tuple of Layer
        Heights at which the build feeds, in order of first use.
    marks : Marks
        Between place in the file and planned time.
    unknown : tuple of Counted
        Words and commands without a meaning here.
    notes : tuple of Counted
        What looked odd.
    """

    lines: int
    bytes: int
    moves: int
    duration: TimeRange
    times: Times
    limits_known: bool
    inputs: tuple[InputPlan, ...]
    unassigned_mm: float
    tools: Mapping[int, Mix]
    set_points: tuple[SetPoint, ...]
    pauses: tuple[Pause, ...]
    layers: tuple[Layer, ...]
    marks: Marks
    unknown: tuple[Counted, ...]
    notes: tuple[Counted, ...]

    def of_input(self, number: int) -> InputPlan | None:
        """The plan of one input; None for one that the build never uses."""
        return next((plan for plan in self.inputs if plan.number == number), None)
