"""Who is told of an alert that nobody acknowledges, and when: the channels one after the other, then all again.

Pure: time is the watch's own, so a whole night is climbed in a test without waiting. Owns the moments. Does not know
what is told, nor whether an alert still calls: whoever asks looks that up before telling.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf
from typing import Final, NamedTuple

from monitor.core.alert_types import Priority

REPEAT_MIN: Final = 15.0
"""After the last channel, and after every repeat, all are told again so much later, unless the owner says otherwise."""


IN_WORDS: Final = (
    "How you are told: an ALARM goes to every channel of your notify.toml, at once or after the channel's own after_min"
    f" (0 unless you say otherwise), then to all again every {REPEAT_MIN:g} min (repeat_min), until it is acknowledged,"
    " shelved, suppressed or over. A WARNING goes once to each channel that takes WARNINGs. What is over wakes nobody."
)


class Call(NamedTuple):
    """Somebody is due to be told again of an alert."""

    alert_id: str
    channels: tuple[int, ...]  # their places
    repeat: int  # 0 while channels are told for the first time


@dataclass(slots=True)
class _Climb:
    priority: Priority
    begin_s: float
    next_round: int


class Ladder:
    """Moments at which channels are told of alerts that call.

    Parameters
    ----------
    after_s : Sequence[float]
        How long after an alert began to call each channel is told for the first time [s].
    repeat_s : float
        Time between the repeats, which begin when all channels have been told [s].
    """

    def __init__(self, after_s: Sequence[float], repeat_s: float) -> None:
        self._after_s, self._repeat_s = tuple(after_s), repeat_s
        self._rungs_s = tuple(sorted(set(after_s)))
        self._climbs: dict[str, _Climb] = {}
        self.next_s = inf
        """When somebody has to be told next."""

    def call(self, alert_id: str, priority: Priority, time_s: float) -> tuple[int, ...]:
        """Channels to tell now of an alert that calls: those it has reached.

        An alert that did not call before, or has become more urgent, begins with the first.
        """
        climb = self._climbs.get(alert_id)
        if climb is None or priority > climb.priority:
            climb = self._climbs[alert_id] = _Climb(priority, time_s, 0)
        climb.next_round = max(climb.next_round, self._round_after(climb, time_s))
        self._set_next()
        return tuple(at for at, after_s in enumerate(self._after_s) if climb.begin_s + after_s <= time_s)

    def end(self, alert_id: str) -> None:
        """Tell nobody any more: it has been seen, is over, or is not to be announced."""
        if self._climbs.pop(alert_id, None) is not None:
            self._set_next()

    def is_due(self, time_s: float) -> bool:
        """Whether somebody has to be told now. Costs nothing while no alert calls."""
        return time_s >= self.next_s

    def due(self, time_s: float) -> list[Call]:
        """Give what has become due; after a hole in time each alert is told once, not once for each moment missed."""
        calls = [
            self._due(alert_id, climb, time_s)
            for alert_id, climb in self._climbs.items()
            if time_s >= self._at_s(climb, climb.next_round)
        ]
        self._set_next()
        return calls

    def _due(self, alert_id: str, climb: _Climb, time_s: float) -> Call:
        first, climb.next_round = climb.next_round, self._round_after(climb, time_s)
        repeat = climb.next_round - len(self._rungs_s)
        if repeat > 0:
            return Call(alert_id, tuple(range(len(self._after_s))), repeat)
        passed_s = self._rungs_s[first : climb.next_round]
        return Call(alert_id, tuple(at for at, after_s in enumerate(self._after_s) if after_s in passed_s), 0)

    def _round_after(self, climb: _Climb, time_s: float) -> int:
        """Place of the first round that is still to come."""
        at = climb.next_round
        while self._at_s(climb, at) <= time_s:
            at += 1
        return at

    def _at_s(self, climb: _Climb, at: int) -> float:
        if not self._rungs_s:
            return inf
        beyond = at - len(self._rungs_s) + 1
        return climb.begin_s + (self._rungs_s[at] if beyond <= 0 else self._rungs_s[-1] + beyond * self._repeat_s)

    def _set_next(self) -> None:
        self.next_s = min((self._at_s(it, it.next_round) for it in self._climbs.values()), default=inf)
