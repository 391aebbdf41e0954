"""A test alert that climbs the ladder like an ALARM until somebody has seen it. Owns what a trial comes to.

Knows neither keys nor printing: it is handed what tells that the alert was seen, and whoever wants to hear the lines.
"""

import asyncio
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

from monitor.core.alert_types import Priority
from monitor.notify.attempt import Channel, Letter, Outcome, Wait, begin, first_of, outcome_in_time
from monitor.notify.ladder import Ladder
from monitor.notify.message import trial_message
from monitor.notify.plan import NotifyPlan

HOW_TO_ANSWER: Final = "Press Enter or k where the test was started, to say that you have seen it."
_AGAIN: Final = "Nobody has acknowledged it yet."
_TEST: Final = "test"


@dataclass(slots=True)
class Trial:
    """What came of it: by channel the newest outcome, where it was tried; and when it was seen [s], if it was."""

    outcomes: dict[str, Outcome] = field(default_factory=dict)
    seen_after_s: float | None = None

    @property
    def accepted(self) -> int:
        """How many channels accepted it."""
        return sum(outcome is None for outcome in self.outcomes.values())


@dataclass(frozen=True, slots=True)
class Clock:
    """Time of a trial: what waits, what tells seconds that only go forward, and the time of day."""

    wait: Wait
    monotonic: Callable[[], float]
    wall: Callable[[], datetime]


class Climb:
    """One trial.

    Parameters
    ----------
    plan : NotifyPlan
    clock : Clock
    tell : callable
        Takes lines about what happens.
    """

    def __init__(self, plan: NotifyPlan, clock: Clock, tell: Callable[[str], None]) -> None:
        self._plan, self._clock, self._tell = plan, clock, tell
        self._trial = Trial()
        self._sending: set[asyncio.Task[None]] = set()

    async def run(self, seen: "asyncio.Future[bool]", within_s: float) -> Trial:
        """Climb until `seen` tells, or `within_s` is over. It holds False when nobody can say so any more."""
        begin_s = self._clock.monotonic()
        ladder = Ladder([channel.after_s for channel in self._plan.channels], self._plan.repeat_s)
        self._send(ladder.call(_TEST, Priority.ALARM, 0.0), HOW_TO_ANSWER)
        while not seen.done() and (now_s := self._clock.monotonic() - begin_s) < within_s:
            for call in ladder.due(now_s):
                self._send(call.channels, f"{_AGAIN} {HOW_TO_ANSWER}")
            await first_of(asyncio.wait({seen}), self._clock.wait(min(within_s, ladder.next_s) - now_s))
        if seen.done() and seen.result():
            self._trial.seen_after_s = self._clock.monotonic() - begin_s
        if self._sending:
            await asyncio.wait(self._sending)  # what is under way has its time, and ends by itself
        return self._trial

    def _send(self, channels: Iterable[int], note: str) -> None:
        message = trial_message(self._clock.wall(), note)
        letter = Letter(message.title, message.body(), message.priority)
        for at in channels:
            task = asyncio.create_task(self._try(self._plan.channels[at], letter))
            self._sending.add(task)
            task.add_done_callback(self._sending.discard)

    async def _try(self, channel: Channel, letter: Letter) -> None:
        outcome = await outcome_in_time(begin(channel, letter), self._clock.wait)
        self._trial.outcomes[channel.name] = outcome
        self._tell(outcome_text(channel, outcome))


def outcome_text(channel: Channel, outcome: Outcome) -> str:
    """Tell what became of one attempt."""
    return f"{channel.name}: {'accepted' if outcome is None else f'NOT accepted: {outcome}'}"
