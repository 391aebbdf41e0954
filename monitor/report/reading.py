"""From a recording to what is gathered: the one pass. Impossible times and values are left out and counted.

An honest recording has none: what a machine says is checked before it is recorded. A hostile one must not make the
engine reckon with them.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Final

from connectors.recording import Conclusion, Recording
from connectors.telemetry import Event, Sample
from monitor.core.engine import Engine
from monitor.core.engine_input import EngineInput
from monitor.core.parameters import Parameters
from monitor.recording.inputs import input_in
from monitor.replay.comparison import AlertMark, comparison_lines, recorded_mark, replayed_mark
from monitor.report.gathered import Gathered
from monitor.report.gathering import Gatherer
from monitor.report.read_state import ReadState

LONGEST_JUMP_S: Final = 31 * 86_400.0
_BOUNDS: Final = {
    "temp_c": (-273.15, 2000.0),
    "set_c": (-273.15, 2000.0),
    "duty": (0.0, 1.0),
    "fed_mm": (-1e8, 1e8),
    "sensed_mm": (-1e8, 1e8),
    "stall": (0.0, 1.0),
    "progress": (0.0, 1.0),
    "file_byte": (0.0, 1e15),
}
"""What each kind of channel can hold at all: 1e8 mm are a hundred kilometres of strand."""
_MOST_MARKS: Final = 20_000


class Screen:
    """Lets pass what can be, and counts what cannot."""

    def __init__(self) -> None:
        self.dropped = 0
        self._time_s: float | None = None

    def passed(self, items: Iterable[Event | Conclusion]) -> Iterator[Event | Conclusion]:
        """The items whose times can be, with the values that can be."""
        for item in items:
            if not self._is_possible(item.time_s):
                self.dropped += 1
                continue
            self._time_s = item.time_s if self._time_s is None else max(self._time_s, item.time_s)
            yield self._possible(item) if isinstance(item, Sample) else item

    def _is_possible(self, time_s: float) -> bool:
        return abs(time_s - (self._time_s or 0.0)) <= LONGEST_JUMP_S

    def _possible(self, sample: Sample) -> Sample:
        values = {name: value for name, value in sample.values.items() if _is_in_bounds(name, value)}
        if len(values) == len(sample.values):
            return sample
        self.dropped += len(sample.values) - len(values)
        return replace(sample, values=values)


def _is_in_bounds(name: str, value: float) -> bool:
    low, high = _BOUNDS.get(name.partition(":")[0], (-1e15, 1e15))
    return low <= value <= high


def read(recording: Recording, parameters: Parameters) -> tuple[Gathered, ReadState]:
    """Judge a whole recording anew and keep what a report needs."""
    screen, gatherer, engine = Screen(), Gatherer(parameters), Engine(parameters)
    then: list[AlertMark] = []
    now: list[AlertMark] = []
    for item in screen.passed(recording.items()):
        told = _input(item)
        if isinstance(item, Conclusion):
            gatherer.take_line(item)
            if item.kind == "alert" and len(then) < _MOST_MARKS:
                then.append(recorded_mark(item))
        if told is not None:
            step = engine.advance(told)
            gatherer.take(step)
            now += [replayed_mark(transition) for transition in step.transitions][: _MOST_MARKS - len(now)]
    gathered = gatherer.gathered()
    is_complete = any(line.kind == "end" for line in gathered.told)
    lines = tuple(comparison_lines(then, now, None if is_complete else gathered.end_s))
    return gathered, ReadState(recording.skipped, recording.torn, recording.damage, screen.dropped, lines)


def _input(item: Event | Conclusion) -> EngineInput | None:
    return input_in(item) if isinstance(item, Conclusion) else item
