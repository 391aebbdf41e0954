"""What the gathered rows tell around one failure, as numbers. Decides nothing."""

from dataclasses import dataclass
from functools import cached_property
from statistics import median
from typing import Final

from monitor.core.assessment import Activity
from monitor.core.stall_findings import StallFinding, StallPattern
from monitor.report.cause_types import Failure
from monitor.report.gathered import Gathered, Silence, StrandFacts
from monitor.report.incidents import Incident
from monitor.report.rows import Row, StrandPoint, WallPoint, between
from monitor.report.samples import SetChange

AROUND_S: Final = 600.0
AFTER_S: Final = 1800.0
LONG_BEFORE_S: Final = 7200.0
STANDS_S: Final = 60.0
"""A strand that was not fed for so long stands [s]."""
_SETTLED_S: Final = 3600.0
_RISE_K: Final = 2.0


@dataclass(frozen=True, slots=True)
class Moved:
    """What an input did in a stretch after the failure: commanded and sensed both ways, and its driver's flags."""

    commanded_mm: float
    sensed_mm: float | None  # None: no encoder told
    flags: int | None  # None: no driver told


@dataclass(frozen=True)
class Case:
    """One failure in one watch, with what can be reckoned from it."""

    gathered: Gathered
    failure: Failure

    @property
    def time_s(self) -> float:
        """When the failure showed [s]."""
        return self.failure.time_s

    @cached_property
    def index(self) -> int | None:
        """Place of the failed input among the strands; None where the failure has no input."""
        return None if self.failure.input is None else self.gathered.strand_at(self.failure.input)

    @property
    def strand(self) -> StrandFacts | None:
        """The strand that failed."""
        return None if self.index is None else self.gathered.strands[self.index]

    @cached_property
    def stall(self) -> StallFinding | None:
        """What the detectors made of it."""
        found = (told for told in self.gathered.stalled if told.input == self.failure.input)
        return next((told.finding for told in found if abs(told.seen_s - self.time_s) <= AROUND_S), None)

    @property
    def later(self) -> frozenset[StallPattern]:
        """What the strand's stops were settled to be further on."""
        found = (told.later for told in self.gathered.stalled if told.input == self.failure.input)
        return next(found, frozenset())

    @cached_property
    def before(self) -> list[Row]:
        """The rows up to the failure."""
        return between(self.gathered.rows, self.gathered.begin_s, self.time_s)

    @cached_property
    def around(self) -> list[Row]:
        """The rows of ten minutes to each side."""
        return between(self.gathered.rows, self.time_s - AROUND_S, self.time_s + AROUND_S)

    @cached_property
    def moved(self) -> Moved | None:
        """What the input did from the failure until half an hour later; None where nothing is known of that."""
        if self.index is None:
            return None
        since = [row.strands[self.index] for row in between(self.gathered.rows, self.time_s, self.time_s + AFTER_S)]
        if not since:
            return None
        return _moved(since[0], since[-1])

    @cached_property
    def flags_near(self) -> int | None:
        """Flags of the driver from a few minutes before the failure to half an hour after it."""
        if self.index is None:
            return None
        near = between(self.gathered.rows, self.time_s - AROUND_S / 2.0, self.time_s + AFTER_S)
        flags = [row.strands[self.index].flags for row in near]
        known = [count for count in flags if count is not None]
        return known[-1] - known[0] if known else None

    @property
    def last(self) -> StrandPoint:
        """The failed strand in the newest row."""
        return self.gathered.rows[-1].strands[self.index or 0]

    @cached_property
    def stood_s(self) -> float:
        """How long the strand had stood when it was taken up for the last time before the failure [s]."""
        if self.index is None:
            return 0.0
        for row in reversed(self.before):
            point = row.strands[self.index]
            if point.activity is Activity.IDLE and point.idle_s >= STANDS_S:
                return point.idle_s
            if self.time_s - row.time_s > AROUND_S:
                break
        return 0.0

    @cached_property
    def idle_before_s(self) -> float:
        """The longest that it had stood earlier, and fed well after [s]."""
        if self.index is None:
            return 0.0
        began_s = self.time_s - self.stood_s - AROUND_S
        earlier = [row.strands[self.index] for row in self.before if row.time_s < began_s]
        return max((point.idle_s for point in earlier if point.activity is Activity.IDLE), default=0.0)

    @cached_property
    def below_minimum_k(self) -> float:
        """How far the manifold was below what the strand needs, at most, in the ten minutes around [K]."""
        if self.strand is None or self.index is None:
            return 0.0
        before = [row for row in self.around if row.time_s <= self.time_s + AROUND_S / 2.0]
        walls = [row.strands[self.index].merge_wall_c for row in before]
        return max((self.strand.min_feed_c - wall_c for wall_c in walls), default=0.0)

    @cached_property
    def below_set_k(self) -> float:
        """How far the manifold was below its own set point, at most, in the ten minutes around [K]."""
        walls = [wall for wall in self._merge_walls(self.around) if wall.set_c]
        return max((wall.set_c - wall.high_c for wall in walls if wall.set_c), default=0.0)

    @cached_property
    def lowered(self) -> SetChange | None:
        """The last time before the failure that the manifold was set lower, and still heated."""
        if self.gathered.merge_sensor is None:
            return None
        name = self.gathered.sensors[self.gathered.merge_sensor]
        changes = [change for change in self.gathered.set_changes if change.sensor == name]
        near = [change for change in changes if self.time_s - LONG_BEFORE_S <= change.time_s <= self.time_s]
        return next((change for change in reversed(near) if 0.0 < change.to_c < change.from_c), None)

    @cached_property
    def merge_duty(self) -> float | None:
        """Duty of the manifold's heater near the failure."""
        duties = [wall.duty for wall in self._merge_walls(self.around) if wall.duty is not None]
        return median(duties) if duties else None

    def cold_since_s(self) -> float:
        """Since when the manifold has been too cold, without a break [s]."""
        if self.strand is None or self.index is None:
            return self.time_s
        since_s = self.time_s
        for row in reversed(self.before):
            if row.strands[self.index].merge_wall_c >= self.strand.min_feed_c:
                break
            since_s = row.time_s
        return since_s

    @cached_property
    def cold_end(self) -> tuple[float, float, float] | None:
        """What the cold end was in its usual state, at the failure [°C], and since when it has risen [s]."""
        column = self.gathered.cold_sensor
        if column is None:
            return None
        course = [(row.time_s, row.walls[column]) for row in self.before]
        known = [(time_s, wall.last_c) for time_s, wall in course if wall is not None]
        warm = [told for told in known if told[0] - known[0][0] >= AFTER_S]  # once it has warmed up
        if not warm:
            return None
        usual_c = median(temp_c for time_s, temp_c in warm if time_s - warm[0][0] <= _SETTLED_S)
        since_s = next((time_s for time_s, temp_c in reversed(warm) if temp_c <= usual_c + _RISE_K), warm[0][0])
        return usual_c, warm[-1][1], since_s

    def fed_at_s(self, fed_mm: float) -> float | None:
        """When the failed input's commanded feed came to so much [s]."""
        if self.index is None:
            return None
        rows = self.gathered.rows
        return next((row.time_s for row in rows if row.strands[self.index].commanded_mm >= fed_mm), None)

    def incidents(self, *conditions: str, until_s: float | None = None) -> list[Incident]:
        """Alerts of these conditions, up to a while after the failure."""
        end_s = self.time_s + AROUND_S if until_s is None else until_s
        return [told for told in self.gathered.incidents if told.condition in conditions and told.raised_s <= end_s]

    @cached_property
    def silence(self) -> Silence | None:
        """The longest silence that ended within ten minutes before the failure, or holds it."""
        near = [
            silence for silence in self.gathered.silences if silence.from_s <= self.time_s <= silence.until_s + AROUND_S
        ]
        return max(near, key=lambda silence: silence.length_s, default=None)

    def _merge_walls(self, rows: list[Row]) -> list[WallPoint]:
        column = self.gathered.merge_sensor
        if column is None:
            return []
        return [wall for wall in (row.walls[column] for row in rows) if wall is not None]


def _moved(first: StrandPoint, last: StrandPoint) -> Moved:
    has_encoder, has_flags = last.sensed_mm is not None, last.flags is not None
    return Moved(
        last.commanded_travel_mm - first.commanded_travel_mm,
        last.sensed_travel_mm - first.sensed_travel_mm if has_encoder else None,
        (last.flags or 0) - (first.flags or 0) if has_flags else None,
    )
