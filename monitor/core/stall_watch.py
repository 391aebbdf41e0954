"""The stall evidence of all inputs, carried along with the samples.

Owns what a sample means for each input's ledger, how often the machine reports, and how long a strand had stood hot
before it was taken up. Knows nothing of how stalls are found (stall.py) or told (stall_texts.py).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final, NamedTuple

from connectors.telemetry import channel
from monitor.core.feed import FEEDING_WITHIN_S, Feed, Feeds
from monitor.core.parameters import Drive, Parameters
from monitor.core.stall import StallState, advance_stall, finding, is_final, shows_better, stall_law
from monitor.core.stall_law import StallLaw
from monitor.core.stall_types import FeedReading, StallFinding

_PACED_REPORTS: Final = 30  # before the machine's pace counts as known
_SHORTEST_PERIOD_S: Final = 0.25
_LONGEST_INTERVAL_S: Final = 30.0  # more is a gap and tells nothing of the pace
_LATE: Final = 1.15  # a mean interval so much longer than a period is still that period
_TOO_LATE: Final = 1.25


class StallChannels(NamedTuple):
    """Names of one input's channels."""

    fed: str
    sensed: str
    flag: str


class Watched(NamedTuple):
    """One input: what its feed shows, and how long it had stood hot before it was last taken up [s]."""

    state: StallState
    hot_idle_s: float = 0.0
    is_seen: bool = False  # whether its encoder or driver has ever told anything

    @property
    def is_told(self) -> bool:
        """Whether something is wrong with it."""
        return self.state.alarm is not None

    @property
    def is_settled(self) -> bool:
        """Whether enough was fed since for the pattern not to change any more."""
        return is_final(self.state)


class Pace(NamedTuple):
    """How often feed is reported."""

    last_s: float | None = None
    reports: int = 0  # up to the number that makes it known
    mean_s: float = 0.0
    period_s: float | None = None  # what the limits go by: a power of two, None until it is known


class Stalls(NamedTuple):
    """All inputs, in the order of the strands."""

    inputs: tuple[Watched, ...] = ()
    pace: Pace = Pace()
    is_blind: bool = True  # until an encoder or a driver first tells anything


class Manifold(NamedTuple):
    """What a feed reading needs of the wall at the merge point; None where nobody knows it."""

    wall_c: float | None
    set_c: float | None


@dataclass(frozen=True, slots=True)
class StallWatch:
    """The fixed part: drives and channels of all inputs, in the order of the strands."""

    drives: tuple[Drive, ...]
    min_feed_c: tuple[float, ...]
    filament_diameter_mm: float
    channels: tuple[StallChannels, ...]
    evidence: frozenset[str]  # channels by which strands are seen to move

    def initial(self) -> Stalls:
        """Nothing has moved yet."""
        return Stalls((Watched(StallState()),) * len(self.drives))

    def after(
        self,
        stalls: Stalls,
        values: Mapping[str, float],
        time_s: float,
        feeds: tuple[Feeds, Feeds],
        hot_since_s: tuple[float | None, ...],
        manifold: Manifold,
    ) -> Stalls:
        """Stalls after a sample; `feeds` are those before and after it.

        Inputs that neither move nor flag cost nothing, and inputs of which no encoder or driver tells are let be.
        """
        if feeds[1].seen_s == feeds[0].seen_s:
            return stalls  # a sample without feed
        pace, inputs = paced(stalls.pace, time_s), stalls.inputs
        if pace.period_s != stalls.pace.period_s:
            return Stalls(tuple(map(_begun_anew, inputs)), pace, is_blind=False)  # limits are computed anew
        pairs = zip(feeds[0].strands, feeds[1].strands, self.channels, strict=True)
        moved = [
            index
            for index, (before, now, names) in enumerate(pairs)
            if (before is not now and before.fed_mm != now.fed_mm)
            or values.get(names.flag)
            or shows_better(inputs[index].state, now.fed_mm, values.get(names.sensed))
        ]
        if not moved:
            return Stalls(inputs, pace, is_blind=False)
        changed = list(inputs)
        if pace.period_s is None:
            for index in moved:
                changed[index] = inputs[index]._replace(is_seen=inputs[index].is_seen or self._tells(index, values))
            return Stalls(tuple(changed), pace, is_blind=False)
        for index in moved:
            before, now = feeds[0].strands[index], feeds[1].strands[index]
            idle_s = _hot_idle_s(inputs[index].hot_idle_s, before, now, hot_since_s[index], time_s)
            watched = inputs[index]._replace(hot_idle_s=idle_s)
            changed[index] = self._read(index, watched, pace.period_s, values, (time_s, manifold))
        return Stalls(tuple(changed), pace, is_blind=False)

    def is_untold(self, stalls: Stalls, values: Mapping[str, float]) -> bool:
        """Whether nothing has told how strands really move, this sample included."""
        return stalls.is_blind and self.evidence.isdisjoint(values)

    def is_blind(self, stalls: Stalls, index: int) -> bool:
        """Whether nothing tells how this input really moves."""
        return not stalls.inputs[index].is_seen

    def _tells(self, index: int, values: Mapping[str, float]) -> bool:
        _, sensed, flag = self.channels[index]
        return sensed in values or flag in values

    def findings(self, stalls: Stalls) -> tuple[StallFinding | None, ...]:
        """What is wrong with each input; None while nothing is."""
        return tuple(self.finding(stalls, index) for index in range(len(stalls.inputs)))

    def finding(self, stalls: Stalls, index: int) -> StallFinding | None:
        """What is wrong with one input."""
        period_s, state = stalls.pace.period_s, stalls.inputs[index].state
        if period_s is None or state.alarm is None:
            return None
        return finding(self._law(index, period_s), state)

    def _law(self, index: int, period_s: float) -> StallLaw:
        return _law(self.drives[index], self.filament_diameter_mm, self.min_feed_c[index], period_s)

    def _read(
        self, index: int, watched: Watched, period_s: float, values: Mapping[str, float], now: tuple[float, Manifold]
    ) -> Watched:
        fed, sensed, flag = self.channels[index]
        fed_mm, sensed_mm, flagged = values.get(fed), values.get(sensed), values.get(flag)
        is_seen = watched.is_seen or sensed_mm is not None or flagged is not None
        if fed_mm is None or not is_seen:
            return watched
        time_s, manifold = now
        is_flagged = None if flagged is None else flagged > 0.0
        reading = FeedReading(time_s, fed_mm, sensed_mm, is_flagged, *manifold, watched.hot_idle_s)
        state = advance_stall(self._law(index, period_s), watched.state, reading)
        return Watched(state, watched.hot_idle_s, is_seen)


def stall_watch(parameters: Parameters) -> StallWatch:
    """Prepare the watch of one machine's drives."""
    strands = parameters.strands
    channels = tuple(
        StallChannels(*(channel(kind, strand.input) for kind in ("fed_mm", "sensed_mm", "stall"))) for strand in strands
    )
    return StallWatch(
        tuple(strand.drive for strand in strands),
        tuple(strand.material.min_feed_c for strand in strands),
        parameters.filament_diameter_mm,
        channels,
        frozenset(name for names in channels for name in names[1:]),
    )


def paced(pace: Pace, time_s: float) -> Pace:
    """Pace after one more report of feed.

    Limits follow the pace because an encoder may be a period late. It is known after thirty reports, and set anew when
    the machine turns out to report much more rarely.
    """
    interval_s = _LONGEST_INTERVAL_S if pace.last_s is None else time_s - pace.last_s
    if interval_s >= _LONGEST_INTERVAL_S:
        return pace._replace(last_s=time_s)
    reports = min(pace.reports + 1, _PACED_REPORTS)
    if reports == _PACED_REPORTS:
        interval_s = min(interval_s, 2.0 * pace.mean_s)  # one late report is no new pace
    mean_s = pace.mean_s + (interval_s - pace.mean_s) / reports
    period_s = pace.period_s
    if reports == _PACED_REPORTS and (period_s is None or mean_s > _TOO_LATE * period_s):
        period_s = _SHORTEST_PERIOD_S * 2.0 ** max(0, math.ceil(math.log2(mean_s / _LATE / _SHORTEST_PERIOD_S)))
    return Pace(time_s, reports, mean_s, period_s)


def _begun_anew(watched: Watched) -> Watched:
    """An input whose limits change: what stands stays, what was learned of its noise is learned again."""
    if watched.is_told:
        return watched
    return watched._replace(state=StallState(limits=watched.state.limits, habit=watched.state.habit))


@lru_cache(maxsize=64)  # the inputs of a machine are mostly alike, and limits take a while to compute
def _limits(drive: Drive, filament_diameter_mm: float, period_s: float) -> StallLaw:
    return stall_law(drive, filament_diameter_mm=filament_diameter_mm, min_feed_c=0.0, report_period_s=period_s)


@lru_cache(maxsize=256)
def _law(drive: Drive, filament_diameter_mm: float, min_feed_c: float, period_s: float) -> StallLaw:
    return replace(_limits(drive, filament_diameter_mm, period_s), min_feed_c=min_feed_c)


def _hot_idle_s(known_s: float, before: Feed, now: Feed, hot_since_s: float | None, time_s: float) -> float:
    """How long the strand had stood hot, once it moves again after a stand; else what was known."""
    is_taken_up = now.moved_s > before.moved_s and now.moved_s - before.moved_s > FEEDING_WITHIN_S
    if not is_taken_up:
        return known_s
    return 0.0 if hot_since_s is None else max(0.0, time_s - max(hot_since_s, before.moved_s))
