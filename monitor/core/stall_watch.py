"""The stall evidence of all inputs, carried along with the samples.

Owns what a sample means for each input's ledger, and how long a strand had stood hot before it was taken up. Knows
nothing of how stalls are found (stall.py) or told (alert_texts.py).
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import NamedTuple

from connectors.telemetry import channel
from monitor.core.feed import FEEDING_WITHIN_S, Feed, Feeds
from monitor.core.parameters import Drive, Parameters
from monitor.core.stall import StallState, advance_stall, finding, initial_stall, stall_law
from monitor.core.stall_law import StallLaw
from monitor.core.stall_types import FeedReading, StallFinding


class StallChannels(NamedTuple):
    """Names of one input's channels."""

    fed: str
    sensed: str
    flag: str


class Watched(NamedTuple):
    """One input: what its feed shows, and how long it had stood hot before it was last taken up [s]."""

    state: StallState
    hot_idle_s: float = 0.0


Stalls = tuple[Watched, ...]


class Manifold(NamedTuple):
    """What a feed reading needs of the wall at the merge point; None where nobody knows it."""

    wall_c: float | None
    set_c: float | None


@dataclass(frozen=True, slots=True)
class StallWatch:
    """The fixed part: law and channels of each input, in the order of the strands."""

    laws: tuple[StallLaw, ...]
    channels: tuple[StallChannels, ...]

    def initial(self) -> Stalls:
        """Nothing has moved yet."""
        return tuple(Watched(initial_stall(law)) for law in self.laws)

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
        moved = [
            index
            for index, (before, now) in enumerate(zip(feeds[0].strands, feeds[1].strands, strict=True))
            if before is not now or values.get(self.channels[index].flag)
        ]
        if not moved:
            return stalls
        changed = list(stalls)
        for index in moved:
            idle_s = _hot_idle_s(
                stalls[index].hot_idle_s, feeds[0].strands[index], feeds[1].strands[index], hot_since_s[index], time_s
            )
            changed[index] = self._read(index, stalls[index]._replace(hot_idle_s=idle_s), values, time_s, manifold)
        return tuple(changed)

    def findings(self, stalls: Stalls) -> tuple[StallFinding | None, ...]:
        """What is wrong with each input; None while nothing is."""
        return tuple(
            None if watched.state.alarm is None else finding(law, watched.state)
            for law, watched in zip(self.laws, stalls, strict=True)
        )

    def _read(
        self, index: int, watched: Watched, values: Mapping[str, float], time_s: float, manifold: Manifold
    ) -> Watched:
        fed, sensed, flag = self.channels[index]
        fed_mm, sensed_mm, flagged = values.get(fed), values.get(sensed), values.get(flag)
        is_blind = sensed_mm is None and flagged is None and watched.state.ledger is None
        if fed_mm is None or is_blind:
            return watched
        reading = FeedReading(
            time_s, fed_mm, sensed_mm, None if flagged is None else flagged > 0.0, *manifold, watched.hot_idle_s
        )
        return watched._replace(state=advance_stall(self.laws[index], watched.state, reading))


def stall_watch(parameters: Parameters) -> StallWatch:
    """Prepare the watch of one machine's drives."""

    @cache  # the drives of a machine are mostly alike, and limits take a while to compute
    def law(drive: Drive) -> StallLaw:
        return stall_law(
            drive,
            filament_diameter_mm=parameters.filament_diameter_mm,
            min_feed_c=0.0,
            report_period_s=parameters.report_period_s,
        )

    return StallWatch(
        tuple(replace(law(strand.drive), min_feed_c=strand.material.min_feed_c) for strand in parameters.strands),
        tuple(
            StallChannels(*(channel(kind, strand.input) for kind in ("fed_mm", "sensed_mm", "stall")))
            for strand in parameters.strands
        ),
    )


def _hot_idle_s(known_s: float, before: Feed, now: Feed, hot_since_s: float | None, time_s: float) -> float:
    """How long the strand had stood hot, once it moves again after a stand; else what was known."""
    is_taken_up = now.moved_s > before.moved_s and now.moved_s - before.moved_s > FEEDING_WITHIN_S
    if not is_taken_up:
        return known_s
    return 0.0 if hot_since_s is None else max(0.0, time_s - max(hot_since_s, before.moved_s))
