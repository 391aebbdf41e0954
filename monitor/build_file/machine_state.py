"""What a controller would have in mind while it works through a file, and what the commands of a block leave behind.

Owns that state. Does not know which command changes what (`commands` and its parts).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import isnan
from typing import Final, NamedTuple

from monitor.build_file.schedule import Heater, Pause, SetPoint
from monitor.build_file.settings import NO_LIMIT, AxisLimits, Mix, MotionSettings
from monitor.build_file.tally import Tally
from monitor.build_file.tracks import Track

MOST_EVENTS: Final = 100_000
"""Set points, pauses and the like that are kept one by one; further ones are counted."""


MOST_TOOLS: Final = 1000
"""Numbers of tools and heaters beyond this are slips."""


class Still(NamedTuple):
    """Time in which the axes stand, on a line of the block; or a feed by the controller itself, without travel."""

    line: int
    time_s: float
    feed_mm: float = 0.0
    speed_mm_s: float = 1.0


class PositionSet(NamedTuple):
    """An axis that is said to be somewhere, without a move; `axis` is its letter."""

    line: int
    axis: str
    value_mm: float


@dataclass(slots=True)
class LimitTracks:
    """Limits that the file may change, each over the lines of a block."""

    print_mm_s2: Track
    travel_mm_s2: Track
    retract_mm_s2: Track
    axis_mm_s2: tuple[Track, ...]
    axis_mm_s: tuple[Track, ...]
    deviation_mm: Track
    step_mm_s: Track

    @classmethod
    def of(cls, settings: MotionSettings) -> "LimitTracks":
        """The limits that the settings give."""
        step_mm_s = settings.corner_speed_mm_s
        return cls(
            print_mm_s2=Track(settings.acceleration_mm_s2),
            travel_mm_s2=Track(settings.acceleration_mm_s2),
            retract_mm_s2=Track(settings.acceleration_mm_s2),
            axis_mm_s2=_tracks(settings.axis_accelerations_mm_s2),
            axis_mm_s=_tracks(settings.axis_speeds_mm_s),
            deviation_mm=Track(settings.corner_deviation_mm if step_mm_s is None else NO_LIMIT),
            step_mm_s=Track(NO_LIMIT if step_mm_s is None else step_mm_s),
        )

    def all(self) -> tuple[Track, ...]:
        """Every track."""
        return (
            *(self.print_mm_s2, self.travel_mm_s2, self.retract_mm_s2, *self.axis_mm_s2, *self.axis_mm_s),
            *(self.deviation_mm, self.step_mm_s),
        )


def _tracks(limits: AxisLimits) -> tuple[Track, ...]:
    return tuple(map(Track, limits))


@dataclass(slots=True)
class HeaterState:
    """What was last asked of a heater, and how far it is known to have come."""

    target_c: float
    reached_c: float


class ToolValues(NamedTuple):
    """Set points that a tool takes by itself, while it is active and while it is not; None where none was given."""

    active_c: float | None = None
    standby_c: float | None = None


@dataclass(slots=True)
class Retraction:
    """What G10 and G11 do, and whether the strand is drawn back."""

    back_mm: float
    extra_mm: float
    back_mm_s: float
    forth_mm_s: float
    is_back: bool = False


@dataclass(slots=True)
class MachineState:
    """State between lines; lists are emptied with every block."""

    settings: MotionSettings
    notes: Tally
    unknown: Tally
    limits: LimitTracks
    retraction: Retraction
    tool: int
    selected: int
    mixes: list[Mix]
    mix_of_tool: dict[int, Mix]
    is_relative: Track = field(default_factory=lambda: Track(0.0))
    is_feed_relative: Track = field(default_factory=lambda: Track(0.0))
    has_absolute_centres: Track = field(default_factory=lambda: Track(0.0))
    unit_mm: Track = field(default_factory=lambda: Track(1.0))
    plane: Track = field(default_factory=lambda: Track(17.0))
    speed_factor: Track = field(default_factory=lambda: Track(1.0))
    flow_factor: Track = field(default_factory=lambda: Track(1.0))
    volume_mm2: Track = field(default_factory=lambda: Track(1.0))
    mix: Track = field(default_factory=lambda: Track(0.0))
    tool_track: Track = field(default_factory=lambda: Track(0.0))
    flows: dict[int, float] = field(default_factory=dict)
    weights: dict[int, float] = field(default_factory=dict)
    heaters: dict[tuple[Heater, int], HeaterState] = field(default_factory=dict)
    tool_values: dict[int, ToolValues] = field(default_factory=dict)
    first_line: int = 0
    stills: list[Still] = field(default_factory=list)
    position_sets: list[PositionSet] = field(default_factory=list)
    set_points: list[SetPoint] = field(default_factory=list)
    pauses: list[Pause] = field(default_factory=list)
    tool_changes: int = 0
    change_s: float = 0.0
    dwell_s: float = 0.0
    heating_s: float = 0.0
    has_file_limits: bool = False
    kept_events: int = 0
    known_commands: int = 0
    tools_used: set[int] = field(default_factory=set)
    mix_numbers: dict[Mix, int] = field(default_factory=dict)

    @classmethod
    def at_start(cls, settings: MotionSettings) -> "MachineState":
        """The state before the first line."""
        back_mm_s = settings.retract_speed_mm_s
        state = cls(
            settings,
            Tally(),
            Tally(),
            LimitTracks.of(settings),
            Retraction(settings.retract_mm, settings.extra_prime_mm, back_mm_s, back_mm_s),
            settings.first_tool,
            settings.first_tool,
            [],
            dict(settings.tools),
        )
        state.feed_with(settings.first_tool, 0)
        state.tool_track = Track(float(settings.first_tool))
        state.mix = Track(state.mix.value)
        return state

    def begin(self, first_line: int) -> None:
        """Start a block whose first line has this number (from 1)."""
        self.first_line = first_line
        for track in (*self.limits.all(), *self._tracks()):
            track.begin()
        for events in (self.stills, self.position_sets, self.set_points, self.pauses):
            events.clear()

    def _tracks(self) -> tuple[Track, ...]:
        return (
            *(self.is_relative, self.is_feed_relative, self.has_absolute_centres, self.unit_mm, self.plane),
            *(self.speed_factor, self.flow_factor, self.volume_mm2, self.mix, self.tool_track),
        )

    def mix_of(self, tool: int) -> Mix:
        """What a tool feeds; nothing when that is not known."""
        own = self.mix_of_tool.get(tool)
        number = tool - self.settings.first_tool + 1
        return own if own is not None else ((number, 1.0),) if 1 <= number <= self.settings.inputs else ()

    def feed_with(self, tool: int, line: int) -> None:
        """Feed with a tool's mix from this line of the block on."""
        self.tools_used.add(tool)
        self.use_mix(self.mix_of(tool), line)
        self.flow_factor.set(line, self.flows.get(tool, self.flows.get(-1, 1.0)))

    def use_mix(self, mix: Mix, line: int) -> None:
        """Feed with a mix from this line of the block on."""
        number = self.mix_numbers.setdefault(mix, len(self.mixes))
        if number == len(self.mixes):
            self.mixes.append(mix)
        self.mix.set(line, float(number))

    def note(self, what: str, line: int) -> None:
        """Note something about a line of the block."""
        self.notes.add(what, self.first_line + line)

    def may_keep(self, line: int) -> bool:
        """Whether one more event may be kept by itself."""
        self.kept_events += 1
        if self.kept_events > MOST_EVENTS:
            self.note("set points, pauses or waits too many to be listed", line)
        return self.kept_events <= MOST_EVENTS


class Line:
    """One line with commands beside plain moves: its number in the block and its words."""

    __slots__ = ("codes", "number", "words")

    def __init__(self, number: int, codes: list[tuple[str, float]], words: Mapping[str, float]) -> None:
        self.number, self.codes, self.words = number, codes, words

    def get(self, letter: str) -> float | None:
        """A word's number; None without the word or its number."""
        value = self.words.get(letter)
        return None if value is None or isnan(value) else value

    def has(self, letters: str) -> bool:
        """Whether any of these words stands on the line."""
        return any(letter in self.words for letter in letters)
