"""A simulated machine on the bench, and an owner who types what the lesson says: for tests of the step test.

The machine is made of the simulated machine's own heat and feed; it obeys the lines that an owner types. Time is the
machine's own: a test runs as fast as it can be reckoned.
"""

import re
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from connectors.simulated_faults import StrandFault
from connectors.simulated_feed import StrandFeed
from connectors.simulated_heat import HotPath
from connectors.simulated_machine import chance
from connectors.simulated_program import Piece
from connectors.simulated_scenarios import INPUTS, Fault
from connectors.telemetry import Event, Sample
from monitor.bench.lesson import Lesson
from monitor.bench.talk import Answer

SET_LINE = re.compile(r"M104 T(\S+) S([\d.]+)")
FEED_LINE = re.compile(r"G1 E(-?[\d.]+) F([\d.]+)")


class BenchMachine:
    """Six drives and a hot path that do what is typed. `hears` takes a line, `tick` a second."""

    def __init__(self, seed: int = 1, number: int = 1, fault: Fault | None = None) -> None:
        luck = chance(seed, "luck")
        self.heat = HotPath(chance(seed, "heat"))
        self.feeds = {
            each: StrandFeed(
                each,
                chance(seed, f"strand {each}"),
                luck,
                StrandFault(fault, luck) if fault is not None and each == number else None,
            )
            for each in INPUTS
        }
        self.number, self.time_s = number, 0.0
        self._moves: deque[tuple[float, float]] = deque()  # length, speed

    def hears(self, line: str) -> None:
        """Obey a line."""
        if found := SET_LINE.search(line):
            manifold_c, nozzle_c = self.heat.set_c
            is_nozzle = found[1] == "<nozzle>"
            self.heat.set_c = (manifold_c, float(found[2])) if is_nozzle else (float(found[2]), nozzle_c)
        elif found := FEED_LINE.search(line):
            self._moves.append((float(found[1]), float(found[2]) / 60.0))
        elif "STOP FEEDING" in line:
            self._moves.clear()

    def tick(self) -> Sample:
        """One second on; what the machine reports after it."""
        flow_mm_s = 0.0
        if self._moves:
            left_mm, speed_mm_s = self._moves.popleft()
            step_mm = min(left_mm, speed_mm_s)
            if left_mm > step_mm:
                self._moves.appendleft((left_mm - step_mm, speed_mm_s))
            piece = Piece(self.number, step_mm, speed_mm_s, under_way=bool(self._moves))
            flow_mm_s = self.feeds[self.number].move(piece, self.heat.state.manifold_c, self.time_s)
        self.heat.step(1.0, flow_mm_s, 1.0)
        self.time_s += 1.0
        return Sample(self.time_s, self._values())

    def _values(self) -> dict[str, float]:
        heat = self.heat
        values = {
            "temp_c:manifold": heat.measured_c[0],
            "set_c:manifold": heat.set_c[0],
            "duty:manifold": round(heat.duty[0], 3),
            "temp_c:nozzle": heat.measured_c[1],
            "set_c:nozzle": heat.set_c[1],
            "duty:nozzle": round(heat.duty[1], 3),
            "temp_c:cold_end": heat.sensed_c(heat.state.cold_end_c),
            "progress": 0.0,
        }
        for number, feed in self.feeds.items():
            values[f"fed_mm:{number}"] = round(feed.commanded_mm, 2)
            values[f"sensed_mm:{number}"] = feed.encoder_mm()
            values[f"stall:{number}"] = 1.0 if feed.stalled else 0.0
            feed.stalled = False
        return values


def unchanged(event: Sample) -> Iterator[Event]:
    """What a sound link makes of a sample."""
    yield event


@dataclass
class Owner:
    """Types what it is told, and answers what it is asked.

    `answers` gives the answer to the newest question, from the lines said so far; `through` is the link between the
    machine and the watch.
    """

    machine: BenchMachine
    answers: Callable[[list[str]], str] = lambda said: nothing_is_asked(said)  # noqa: PLW0108 -- defined below
    through: Callable[[Sample], Iterator[Event]] = unchanged
    said: list[str] = field(default_factory=list)

    def leads(self, lesson: Lesson, most_s: float = 200_000.0) -> Lesson:
        """Go through the lesson to its end, or for so long."""
        self.obey(lesson.begin())
        while not lesson.is_over and self.machine.time_s < most_s:
            for event in self.through(self.machine.tick()):
                self.obey(lesson.take(event))
            if lesson.asks:
                self.obey(lesson.take(Answer(self.answers(self.said))))
        return lesson

    def obey(self, lines: list[str]) -> None:
        """Type what is to be typed."""
        self.said += lines
        for line in lines:
            self.machine.hears(line)


def nothing_is_asked(said: list[str]) -> str:
    """Nothing was to be asked."""
    raise AssertionError("\n".join(["asked, though the machine tells all", *said[-5:]]))


def without(*kinds: str) -> Callable[[Sample], Iterator[Event]]:
    """A link over which these kinds of channels are not told."""

    def told(sample: Sample) -> Iterator[Event]:
        values = {name: value for name, value in sample.values.items() if name.split(":")[0] not in kinds}
        yield Sample(sample.time_s, values)

    return told
