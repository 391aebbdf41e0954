"""What an import understood: channels, span, rate, first values, what the engine will miss. Pure; prints nothing."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from statistics import median
from typing import Final

from connectors.clean_text import clean_text
from connectors.telemetry import CHANNEL_UNITS, Event, LinkChange, Sample, channel
from monitor.clock_text import clock_text, span_text
from monitor.core.parameters import Parameters
from monitor.importing.tally import Tally

FIRST_VALUES: Final = 3
MOST_CHANNELS: Final = 500
_LOOKED_AT: Final = 10_000
_LINKS_SHOWN: Final = 3


@dataclass(slots=True)
class ChannelTally:
    """What came on one channel."""

    count: int = 0
    low: float = float("inf")
    high: float = float("-inf")
    first: list[float] = field(default_factory=list)

    def take(self, value: float) -> None:
        """Count one value."""
        self.count += 1
        self.low, self.high = min(self.low, value), max(self.high, value)
        if len(self.first) < FIRST_VALUES:
            self.first.append(value)


class Understood:
    """Adds up the events of an import."""

    def __init__(self) -> None:
        self.channels: dict[str, ChannelTally] = {}
        self.states: list[str] = []
        """States of the program that were told, each once."""
        self.samples = 0
        self.last_s = 0.0
        self._times_s: list[float] = []
        self._longest_s, self._longest_at_s = 0.0, 0.0
        self._before_s: float | None = None
        self._links: list[LinkChange] = []

    def take(self, event: Event) -> None:
        """Add one event."""
        self.last_s = max(self.last_s, event.time_s)
        if isinstance(event, LinkChange):
            self._links.append(event) if len(self._links) <= _LINKS_SHOWN else None
        if not isinstance(event, Sample):
            return
        self.samples += 1
        self._spacing(event.time_s)
        for name, value in event.values.items():
            if name in self.channels or len(self.channels) < MOST_CHANNELS:
                self.channels.setdefault(name, ChannelTally()).take(value)
        if event.execution is not None and event.execution not in self.states:
            self.states.append(event.execution)

    def _spacing(self, time_s: float) -> None:
        if time_s == self._before_s:
            return  # several reports of one moment
        if len(self._times_s) < _LOOKED_AT:
            self._times_s.append(time_s)
        if self._before_s is not None and time_s - self._before_s > self._longest_s:
            self._longest_s, self._longest_at_s = time_s - self._before_s, self._before_s
        self._before_s = time_s

    def lines(self) -> Iterator[str]:
        """Tell it."""
        yield f"{self.samples} samples over {span_text(self.last_s)}{self._rate_text()}"
        width = max(map(len, self.channels), default=0)
        for name, tally in sorted(self.channels.items()):
            unit = CHANNEL_UNITS[name.partition(":")[0]]
            first = ", ".join(f"{value:.5g}" for value in tally.first)
            span = f"{tally.low:.5g} to {tally.high:.5g} {unit}"
            yield f"  {clean_text(name):{width}}  {tally.count} values, {span}; first {first}"
        if self.states:
            yield f"  states of the program: {', '.join(self.states)}"
        for change in self._links[1 : _LINKS_SHOWN + 1]:
            yield f"  at {clock_text(change.time_s)}: {clean_text(change.reason, 300)}"

    def _rate_text(self) -> str:
        spacings_s = [after - before for before, after in pairwise(self._times_s)]
        if not spacings_s:
            return ""
        gap = f", longest gap {span_text(self._longest_s)} at {clock_text(self._longest_at_s)}"
        return f", one every {median(spacings_s):.3g} s (median){gap}"


def missing_lines(reported: Iterable[str], states: Sequence[str], parameters: Parameters) -> Iterator[str]:
    """Name what the engine needs by the profile, and the file does not tell; and what that means."""
    known = set(reported)
    sensors = [name for name in parameters.sensors_needed if channel("temp_c", name) not in known]
    if sensors:
        yield f"missing: temperature of {_names(sensors)}; nothing can be judged where a wall depends on it"
    unfed = [strand.input for strand in parameters.strands if channel("fed_mm", strand.input) not in known]
    if unfed:
        yield f"missing: feed of input {_names(unfed)}; what is there counts as standing all the time"
    heated = [name for name in parameters.sensors if channel("set_c", name) not in known]
    if heated:
        yield (
            f"missing: set points at {_names(heated)} (where there is a heater): in a gap only the last temperature is"
            " held, and a heater on its way is not told from a fault"
        )
    unsensed = [strand.input for strand in parameters.strands if channel("sensed_mm", strand.input) not in known]
    if unsensed:
        yield f"missing: encoders of input {_names(unsensed)}; without them stalls are seen late or not at all"
    if not states:
        yield "missing: the program's state; whether a build was running is not known"


def unused_lines(reported: Iterable[str], parameters: Parameters) -> Iterator[str]:
    """Name channels that the profile has no use for."""
    inputs = {str(strand.input) for strand in parameters.strands}
    idle = [
        name
        for name in sorted(reported)
        if (owner := name.partition(":")[2]) and owner not in inputs and owner not in parameters.sensors
    ]
    if idle:
        yield f"not used by the profile: {_names(idle)}"


def trouble_lines(tally: Tally) -> Iterator[str]:
    """Name what was not understood, with the first line of each reason."""
    for reason, trouble in tally.troubles.items():
        yield f"not understood: {trouble.count} × {reason}; first in line {trouble.first_line}: {trouble.excerpt!r}"


def _names(names: Sequence[object]) -> str:
    return ", ".join(clean_text(str(name), 60) for name in names)
