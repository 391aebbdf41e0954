"""Following a build along its plan: how far it is, how much slower than planned, and when each strand is needed next.

Fed with the machine's samples. By the place in the file where the machine tells it, else by what was fed, which both
match the plan closely; else by the share of the file that is done. Pure; knows nothing of doses or alerts.
"""

from collections import deque
from collections.abc import Mapping
from math import inf, isfinite
from typing import Final, NamedTuple

import numpy as np

from connectors.telemetry import Execution, Sample, channel
from monitor.build_file.schedule import BuildSchedule, Stretches
from monitor.core.assessment import Array
from monitor.core.next_use import NextUse, NextUses

EVERY_S: Final = 60.0
"""Time between two words of the plan [s]."""
PACE_OVER_S: Final = 600.0
PACE_FROM: Final = 0.1
"""The pace of the last ten minutes counts from this share of the build on: heating and first layers mislead."""
_PACE_LIMITS: Final = (0.25, 4.0)


class _Mark(NamedTuple):
    time_s: float
    planned_s: float


class PlanFollower:
    """Turns samples into words of the plan.

    Parameters
    ----------
    schedule : BuildSchedule
        The file as read.
    planned_s : float
        How far the build already is, where it was followed before [s of the plan's time].
    """

    def __init__(self, schedule: BuildSchedule, planned_s: float = 0.0) -> None:
        self._schedule = schedule
        self._fed = _FedCourse(schedule)
        self._marks: deque[_Mark] = deque()
        self._due_s = -inf
        self._first_mm: dict[str, float] = {}
        self._high_mm: dict[str, float] = {}
        self._channels = {channel("fed_mm", plan.number): plan.number for plan in schedule.inputs}
        self._is_building: bool | None = None  # None: the machine does not tell
        self._planned_s = planned_s
        self._before_mm = self._fed.total_mm(planned_s)

    def take(self, sample: Sample) -> NextUses | None:
        """Take in a sample; once a minute while the build runs, give the word of the plan."""
        if sample.execution is not None:
            self._is_building = sample.execution is Execution.ACTIVE
        self._note_feed(sample.values)
        planned_s = self._planned(sample.values)
        if planned_s is not None:
            self._planned_s = max(self._planned_s, planned_s)
        is_building = self._planned_s > 0.0 if self._is_building is None else self._is_building
        if not is_building or sample.time_s < self._due_s:
            return None
        self._due_s = sample.time_s + EVERY_S
        return self._word(sample.time_s)

    def _note_feed(self, values: Mapping[str, float]) -> None:
        for name in self._channels.keys() & values.keys():
            first_mm = self._first_mm.setdefault(name, values[name])
            self._high_mm[name] = max(self._high_mm.get(name, 0.0), values[name] - first_mm)

    def _planned(self, values: Mapping[str, float]) -> float | None:
        byte = values.get("file_byte")
        if byte is not None:
            return self._schedule.marks.time_at(byte)
        if self._high_mm:
            return self._fed.time_at(self._before_mm + sum(self._high_mm.values()))
        progress = values.get("progress")
        return None if progress is None else self._schedule.marks.time_at(progress * self._schedule.bytes)

    def _word(self, time_s: float) -> NextUses:
        self._marks.append(_Mark(time_s, self._planned_s))
        while len(self._marks) > 1 and time_s - self._marks[1].time_s >= PACE_OVER_S:
            self._marks.popleft()
        pace = self._pace()
        uses = (_next_use(plan.number, plan.stretches, self._planned_s) for plan in self._schedule.inputs)
        told = tuple(
            NextUse(number, time_s + max(0.0, start_s - self._planned_s) * pace if isfinite(start_s) else inf)
            for number, start_s in uses
            if start_s > self._planned_s
        )
        return NextUses(time_s, told, self._planned_s, pace)

    def _pace(self) -> float:
        first, last = self._marks[0], self._marks[-1]
        is_early = last.planned_s < PACE_FROM * self._schedule.duration.planned_s
        if is_early or last.planned_s <= first.planned_s:
            return 1.0
        slowest, fastest = _PACE_LIMITS
        return min(fastest, max(slowest, (last.time_s - first.time_s) / (last.planned_s - first.planned_s)))


def _next_use(number: int, stretches: Stretches, now_s: float) -> NextUse:
    """The input's next new feed in the plan's time; the time itself while it feeds, infinite after its last."""
    feeding = stretches.new_mm > 0.0
    ahead = feeding & (stretches.end_s > now_s)
    if not ahead.any():
        return NextUse(number, inf)
    return NextUse(number, max(now_s, float(stretches.start_s[int(np.argmax(ahead))])))


class _FedCourse:
    """New strand of all inputs together against the plan's time."""

    def __init__(self, schedule: BuildSchedule) -> None:
        edges: list[Array] = [
            np.column_stack([plan.stretches.start_s, plan.stretches.end_s]).ravel() for plan in schedule.inputs
        ]
        self._time_s = np.unique(np.concatenate(edges)) if edges else np.zeros(1)
        self._total_mm = np.zeros_like(self._time_s)
        for plan in schedule.inputs:
            rows = plan.stretches
            high_mm = np.cumsum(rows.new_mm)
            at_mm = np.column_stack([high_mm - rows.new_mm, high_mm]).ravel()
            at_s = np.maximum.accumulate(np.column_stack([rows.start_s, rows.end_s]).ravel())
            self._total_mm += np.interp(self._time_s, at_s, at_mm)

    def total_mm(self, planned_s: float) -> float:
        """What has been fed by a planned time [mm]."""
        return float(np.interp(planned_s, self._time_s, self._total_mm))

    def time_at(self, fed_mm: float) -> float:
        """The earliest planned time at which so much has been fed [s]."""
        later = int(np.searchsorted(self._total_mm, fed_mm, side="left"))
        if later == 0 or later == len(self._time_s):
            return float(self._time_s[min(later, len(self._time_s) - 1)]) if fed_mm > 0.0 else 0.0
        low_mm, high_mm = self._total_mm[later - 1], self._total_mm[later]
        low_s, high_s = self._time_s[later - 1], self._time_s[later]
        return float(low_s + (high_s - low_s) * (fed_mm - low_mm) / (high_mm - low_mm))
