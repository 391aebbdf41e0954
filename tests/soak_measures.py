"""What a soak measures of a watch, and what it holds that against: doses, memory, descriptors, threads, tasks, lines.

Owns the bounds. Each check yields a line for each fault that it finds, and nothing where all is well.
"""

import asyncio
import os
import threading
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from statistics import linear_regression, median
from typing import Any, Final, NamedTuple

from connectors.recording import Conclusion, read_recording
from connectors.telemetry import Event, Sample, channel
from monitor.core.assessment import Quality
from monitor.recording.recorder import Recorder
from monitor.step import Step

MARK_S: Final = 60.0
AROUND_S: Final = (-8.0, -4.0, 0.0, 4.0, 8.0)
"""A true dose counts at any of these times around a mark: after a gap the field's steps of four seconds begin at
another time, so that what leaves the hot path leaves it up to two steps earlier or later."""
LOOK_S: Final = 600.0
HOUR_S: Final = 3600.0
WARM_UP: Final = 0.25
"""Share of a soak after which memory is to stay as it is."""
GROWTH_MIB_H: Final = 0.5
"""Memory may grow so much in an hour of machine time. A day showed 0.1 to 0.4, because what is remembered of the past
still fills; three days -0.03 to 0.01."""
FEWEST_LOOKS: Final = 60
"""Fewer looks tell of no growth."""
MORE_DESCRIPTORS: Final = 4
RANGE_SLACK: Final = 0.02
RANGE_SLACK_MIN: Final = 0.1
"""A dose may lie outside of its range by this share of the true one and this much [min], for the same reason."""
_MIB: Final = 1 << 20
_SHOWN: Final = 5


class Doses(NamedTuple):
    """Doses of all strands at one time: lower and upper end [min]; `is_known` while all data are fresh.

    While a channel of feed alone is silent, its strand is taken as standing; the range comes when it reports again.
    """

    low_min: tuple[float, ...]
    high_min: tuple[float, ...]
    is_known: bool


@dataclass
class DoseMarks:
    """Looks on at a watch, and keeps the doses every minute of machine time, where a sample came just then.

    With `around` also shortly before and after, for the truth that others are held against.
    """

    around: bool = False
    at: dict[float, Doses] = field(default_factory=dict)

    def take(self, step: Step) -> None:
        """Keep the doses if it is time."""
        time_s = step.event.time_s
        if isinstance(step.event, Sample) and self._is_due(time_s):
            strands = step.assessment.strands
            low = tuple(s.dose_now_min if s.dose_low_min is None else s.dose_low_min for s in strands)
            told = {channel("fed_mm", strand.input) for strand in strands} <= step.event.values.keys()
            is_known = told and all(strand.quality is Quality.GOOD for strand in strands)
            self.at[time_s] = Doses(low, tuple(s.dose_now_min for s in strands), is_known)

    def _is_due(self, time_s: float) -> bool:
        return any((time_s - around_s) % MARK_S == 0.0 for around_s in (AROUND_S if self.around else (0.0,)))


def unequal_doses(true: Mapping[float, Doses], found: Mapping[float, Doses]) -> Iterator[str]:
    """Doses that are not the same to the last bit."""
    missing = {time_s for time_s in true if time_s % MARK_S == 0.0} ^ found.keys()
    if missing:
        yield f"doses are missing at {sorted(missing)[:_SHOWN]}"
    for time_s, doses in found.items():
        if doses != true.get(time_s):
            yield f"at {time_s:g} s doses are {doses}, not {true.get(time_s)}"


def doses_outside(true: Mapping[float, Doses], found: Mapping[float, Doses]) -> Iterator[str]:
    """True doses that lie outside of the range that a watch with a bad line tells."""
    for time_s, doses in found.items():
        near = [true[time_s + around_s].high_min for around_s in AROUND_S if time_s + around_s in true]
        ends = zip(doses.low_min, doses.high_min, zip(*near, strict=True), strict=True)
        for number, (low, high, true_min) in enumerate(ends):
            slack = RANGE_SLACK * max(true_min) + RANGE_SLACK_MIN
            if doses.is_known and not (low <= max(true_min) + slack and min(true_min) <= high + slack):
                yield f"at {time_s:g} s strand {number + 1}: {low:.2f} to {high:.2f} min, but truly {max(true_min):.2f}"


class Look(NamedTuple):
    """What a process holds at one time."""

    time_h: float
    memory_mib: float
    descriptors: int
    threads: int
    tasks: int


def look(time_s: float) -> Look:
    """Look at this process."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    memory_mib = pages * os.sysconf("SC_PAGESIZE") / _MIB
    descriptors = len(os.listdir("/proc/self/fd"))  # noqa: PTH208 -- names are enough
    return Look(time_s / HOUR_S, memory_mib, descriptors, threading.active_count(), len(asyncio.all_tasks()))


@dataclass
class Course:
    """Looks on at a watch, and looks at the process every ten minutes of machine time."""

    looks: list[Look] = field(default_factory=list)
    _due_s: float = 0.0

    def take(self, step: Step) -> None:
        """Look if it is time."""
        if step.event.time_s >= self._due_s:
            self._due_s = step.event.time_s + LOOK_S
            self.looks.append(look(step.event.time_s))

    @property
    def warm(self) -> list[Look]:
        """The looks after the warm-up."""
        return self.looks[int(len(self.looks) * WARM_UP) :]

    @property
    def growth_mib_h(self) -> float:
        """Slope of the memory after the warm-up [MiB/h of machine time]."""
        return linear_regression([it.time_h for it in self.warm], [it.memory_mib for it in self.warm]).slope

    def told(self) -> str:
        """The figures in one line."""
        first, last = self.warm[0], self.warm[-1]
        return (
            f"memory {first.memory_mib:.1f} to {last.memory_mib:.1f} MiB, {self.growth_mib_h:+.3f} MiB/h;"
            f" descriptors {first.descriptors} to {last.descriptors}, at most"
            f" {max(it.descriptors for it in self.looks)}; threads at most {max(it.threads for it in self.looks)}"
        )

    def faults(self) -> Iterator[str]:
        """What grows that should not; a few hours tell too little."""
        if len(self.looks) < FEWEST_LOOKS:
            return
        if self.growth_mib_h > GROWTH_MIB_H:
            yield f"memory grows by {self.growth_mib_h:.3f} MiB/h; allowed: {GROWTH_MIB_H}"
        half = len(self.warm) // 2
        for what in ("descriptors", "threads", "tasks"):
            early, late = (median(getattr(it, what) for it in part) for part in (self.warm[:half], self.warm[half:]))
            if late > early + MORE_DESCRIPTORS:
                yield f"{what} grow from {early:g} to {late:g}"


class CountedLines(Recorder):
    """A recorder that counts the lines it was given."""

    lines = 0

    def record_event(self, event: Event) -> None:
        """Count it."""
        self.lines += 1
        super().record_event(event)

    def record_conclusion(self, kind: str, time_s: float, data: Mapping[str, Any]) -> None:
        """Count it."""
        self.lines += 1
        super().record_conclusion(kind, time_s, data)


def recording_faults(
    path: Path, sent: Iterable[Event], given: int, *, may_lose: bool, untold: int = 0
) -> Iterator[str]:
    """Hold a recording against what happened: every event is in it, or is among the lines that a gap tells of.

    `untold` lines were lost at the very end, when there was no room to tell it; the watch told them to its owner.
    """
    recording, kept, lost = read_recording(path), 0, untold
    left = iter(sent)
    for item in recording.items():
        if not isinstance(item, Conclusion):
            kept += 1
            if not any(item == event for event in left):
                yield f"an event is recorded that was not sent, or not in this order: {item}"
                return
        elif item.kind == "gap":
            lost += item.data["lines_lost"]
        else:
            kept += 1
    unsent = sum(1 for _ in left)
    if not may_lose and (lost or recording.skipped or unsent):
        yield f"lines lost {lost}, damaged {recording.skipped}, events missing at the end {unsent}"
    if given != kept + lost:
        yield f"{given} lines were given, {kept} are there and {lost} told as lost"
    if (recording.torn and not untold) or recording.damage:
        yield f"the recording is torn ({recording.torn}) or damaged ({recording.damage})"
