"""What a simulated machine's line does to its events in a soak: noise that loses nothing, or faults that lose data.

Pure, and the same for the same seed. The machine itself is not touched: it goes on meanwhile, and what it does is the
truth that a watch is held against.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from random import Random
from typing import Final

from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import INPUTS, SCENARIOS, Absence, Scenario
from connectors.telemetry import Event, LinkChange, Malformed, Sample, Tick

HOUR_S: Final = 3600.0
OUTAGES_AN_HOUR: Final = 1.5
GARBLED_AN_HOUR: Final = 8.0
SILENT_AN_HOUR: Final = 0.5
OUTAGE_S: Final = (5.0, 900.0)
RESET_LEAST_S: Final = 35.0
"""A line that is opened anew after less than data may be old [s] is not told of as a gap: what was fed in it is counted
by nobody, and a strand taken for older than it is."""


def build(hours: float, seed: int) -> Scenario:
    """A build of so many hours in which strands are left standing now and then, so that alerts come and go."""
    random, absences, at_s = Random(f"{seed} absences"), list[Absence](), 2.0 * HOUR_S  # noqa: S311 -- must repeat
    while at_s < hours * HOUR_S:
        until_s = at_s + random.uniform(2.0, 6.0) * HOUR_S
        absences.append(Absence(random.choice(INPUTS), at_s, until_s))
        at_s = until_s + random.uniform(1.0, 3.0) * HOUR_S
    night = SCENARIOS["healthy-night"]
    return replace(night, name="soak", absences=tuple(absences), duration_s=hours * HOUR_S)


def machine_events(hours: float, seed: int, period_s: float) -> Iterator[Event]:
    """All that the machine says: the truth."""
    return simulate(build(hours, seed), seed, period_s)


def noisy(events: Iterable[Event], seed: int) -> Iterator[Event]:
    """The same events with noise between them: nothing that the machine says is lost."""
    random = Random(f"{seed} noise")  # noqa: S311 -- must repeat
    for event in events:
        dice = random.random()
        if dice < 0.01:
            yield Malformed(event.time_s, "garbage", "\N{REPLACEMENT CHARACTER}" * random.randrange(40))
        elif dice < 0.02:
            yield LinkChange(event.time_s, available=True, reason=f"noise {random.randrange(1000)}")
        elif dice < 0.03:
            yield Tick(event.time_s)
        yield event


@dataclass
class _Line:
    """A line that loses data: outages, told or not, openings anew, garbled readings, channels that fall silent."""

    random: Random
    seen_s: float = 0.0
    down_until_s: float = 0.0
    is_told: bool = False
    is_reset: bool = False
    silent: dict[str, float] = field(default_factory=dict)
    last: Mapping[str, float] = field(default_factory=dict)
    lost_mm: dict[str, float] = field(default_factory=dict)

    def events(self, event: Event) -> Iterator[Event]:
        """What arrives of an event."""
        if not isinstance(event, Sample):
            yield event
        elif event.time_s < self.down_until_s:
            yield Tick(event.time_s)
        else:
            yield from self._up(event)

    def _up(self, sample: Sample) -> Iterator[Event]:
        if self.down_until_s:
            yield from self._back(sample)
        passed_h, self.seen_s = min(sample.time_s - self.seen_s, 60.0) / HOUR_S, sample.time_s
        if self.random.random() < passed_h * OUTAGES_AN_HOUR:
            yield from self._down(sample)
        elif self.random.random() < passed_h * GARBLED_AN_HOUR:
            yield Malformed(sample.time_s, "garbled", "T:19")
        else:
            yield self._part_of(sample, passed_h)

    def _down(self, sample: Sample) -> Iterator[Event]:
        length_s = self.random.uniform(*OUTAGE_S) * self.random.random()
        self.down_until_s = sample.time_s + length_s
        self.is_told = self.random.random() < 0.5
        self.is_reset = length_s > RESET_LEAST_S and self.random.random() < 0.5
        if self.is_told or self.is_reset:
            yield LinkChange(sample.time_s, available=False, reason="the line is gone")

    def _back(self, sample: Sample) -> Iterator[Event]:
        """The line is there again; where it was opened anew, counters go on as if nothing had been fed meanwhile."""
        self.down_until_s = 0.0
        if self.is_reset:
            for name in (name for name in self.last if name.startswith(("fed_mm", "sensed_mm"))):
                shift_mm = sample.values[name] - self.last[name]
                self.lost_mm[name] = self.lost_mm.get(name, 0.0) + shift_mm
        if self.is_told or self.is_reset:
            yield LinkChange(sample.time_s, available=True, reason="the line is back", feed_unknown=self.is_reset)

    def _part_of(self, sample: Sample, passed_h: float) -> Sample:
        """The sample without the channels that are silent, with counters as the line has them."""
        self.last = sample.values
        if self.random.random() < passed_h * SILENT_AN_HOUR:
            name = self.random.choice([name for name in sample.values if not name.startswith("sensed_mm")])
            self.silent[name] = sample.time_s + self.random.uniform(5.0, 600.0)
        values = {
            name: round(value - self.lost_mm.get(name, 0.0), 3)
            for name, value in sample.values.items()
            if self.silent.get(name, 0.0) <= sample.time_s
        }
        return replace(sample, values=values)


def losing(events: Iterable[Event], seed: int) -> Iterator[Event]:
    """What of the events a bad line lets through."""
    line = _Line(Random(f"{seed} line"))  # noqa: S311 -- must repeat
    for event in events:
        yield from line.events(event)
