"""Tells people who are not at the screen: passes alerts that call for something on to the owner's channels.

An onlooker of the session. Taking a step only puts messages into queues, so no channel can delay the watch. Sends
nothing to the machine: it holds no link, and `notify_file` refuses channels that lead to it.
"""

import asyncio
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import datetime
from typing import Any, Final

from connectors.telemetry import Execution, Sample
from monitor.core.alert_types import Alert, AlertState, AlertTransition, Priority
from monitor.core.assessment import Assessment
from monitor.notify.attempt import Wait, first_of
from monitor.notify.ladder import Ladder
from monitor.notify.message import (
    Instant,
    Message,
    end_message,
    message_of,
    reminder_of,
    resumed_message,
    wants_to_be_seen,
)
from monitor.notify.plan import NotifyPlan
from monitor.notify.queue import ChannelQueue
from monitor.step import Step
from monitor.stopping import BY_OWNER

CLOSE_WITHIN_S: Final = 5.0
"""How long the end of a watch may wait for messages that are not sent yet [s]."""

HOT_C: Final = 60.0
"""A wall above this stands hot: an unwatched machine is then an ALARM (our own judgement; skin burns from there on)."""

_AT_REST: Final = frozenset({Execution.READY, Execution.STOPPED, Execution.PROGRAM_COMPLETED})

Record = Callable[[Mapping[str, Any]], None]
"""Takes what became of a message, as plain data."""


def _now() -> datetime:
    return datetime.now().astimezone()


def _forget(_data: Mapping[str, Any]) -> None:
    """Record nothing."""


class Notifier:
    """Sends messages about alerts through channels.

    Parameters
    ----------
    plan : NotifyPlan
        The channels, and when they are told again.
    machine : str
        Name of the machine, for the titles.
    record : callable
        Takes what became of each message; no address is in it.
    wait : callable
        Waits so many seconds.
    wall : callable
        Gives the time of day.
    """

    def __init__(
        self,
        plan: NotifyPlan,
        machine: str,
        *,
        record: Record = _forget,
        wait: Wait = asyncio.sleep,
        wall: Callable[[], datetime] = _now,
    ) -> None:
        self._machine, self._record, self._wait, self._wall = machine, record, wait, wall
        self._queues = tuple(ChannelQueue(channel, wait, self._note) for channel in plan.channels)
        self._ladder = Ladder([channel.after_s for channel in plan.channels], plan.repeat_s)
        self._check_in = plan.check_in
        self._newest: Step | None = None
        self._has_watched = False

    @property
    def notice(self) -> str:
        """What the owner should see of channels that fail; empty while all is well."""
        check_in = "" if self._check_in is None else self._check_in.notice
        return "; ".join(filter(None, (*(queue.notice for queue in self._queues), check_in)))

    def take(self, step: Step) -> None:
        """Tell the alerts of a step, and again those that nobody acknowledges. Never blocks."""
        is_first, self._newest = self._newest is None, step
        self._has_watched = self._has_watched or isinstance(step.event, Sample)
        for transition in step.transitions:
            self._take(transition)
        if is_first and self._queues:
            self._resume(step.assessment, {transition.alert.id for transition in step.transitions})
        if self._ladder.is_due(step.event.time_s):
            self._remind(step.assessment, step.event.time_s)
        if self._check_in is not None:
            self._check_in.take(step)

    def send(self, message: Message, channels: Iterable[int] | None = None) -> None:
        """Hand a message to some channels (None: all), each of which its priority must be enough for. Never blocks."""
        for at in range(len(self._queues)) if channels is None else channels:
            self._queues[at].put(message)

    async def close(self, reason: str | None = None) -> None:
        """Give what is not sent yet a last chance, then end; what is left is counted as lost.

        Parameters
        ----------
        reason : str or None
            Why the watch has ended: told as well, unless the owner ended it, or no machine was ever heard.
        """
        if reason not in {None, BY_OWNER} and self._has_watched and self._newest is not None:
            priority = _priority_unwatched(self._newest.assessment)
            self.send(end_message(str(reason), priority, self._machine, self._wall()))
        for queue in self._queues:
            queue.hurry()
        drained = asyncio.gather(*(queue.drained() for queue in self._queues))
        try:
            await first_of(drained, self._wait(CLOSE_WITHIN_S))
        finally:
            for queue in self._queues:
                await queue.close()

    def lines(self) -> Iterator[str]:
        """Say, channel by channel, what became of the messages; for the end of a watch."""
        for queue in self._queues:
            if queue.accepted or queue.lost:
                lost = f", {queue.lost} could not be sent" if queue.lost else ""
                yield f"notifications by {queue.channel.name}: {queue.accepted} accepted{lost}"

    def _take(self, transition: AlertTransition) -> None:
        alert, message = transition.alert, message_of(transition, self._machine, self._wall())
        if not wants_to_be_seen(alert):
            self._ladder.end(alert.id)
        if transition.event == "acknowledged":
            for queue in self._queues:
                queue.withdraw(alert.id, "acknowledged meanwhile")
        elif message is not None:
            self.send(message, self._reached(alert, transition.time_s))

    def _reached(self, alert: Alert, time_s: float) -> tuple[int, ...]:
        """Channels that a change of an alert is told: those on the ladder so far; of a seen one the first ones."""
        if alert.state is AlertState.UNACKNOWLEDGED:
            return self._ladder.call(alert.id, alert.priority, time_s)
        return tuple(at for at, queue in enumerate(self._queues) if not queue.channel.after_s)

    def _resume(self, assessment: Assessment, told: set[str]) -> None:
        """Tell what calls already at the first step: the watch was started anew, and messages may have been lost."""
        for alert in assessment.alerts:
            if wants_to_be_seen(alert) and alert.id not in told:
                message = resumed_message(alert, self._machine, Instant(assessment.time_s, self._wall()))
                self.send(message, self._ladder.call(alert.id, alert.priority, assessment.time_s))

    def _remind(self, assessment: Assessment, time_s: float) -> None:
        """Tell again what still calls, in its newest words. Only an ALARM is repeated once all have been told."""
        calling = {alert.id: alert for alert in assessment.alerts if wants_to_be_seen(alert)}
        for call in self._ladder.due(time_s):
            alert = calling.get(call.alert_id)
            if alert is None or (call.repeat and alert.priority is not Priority.ALARM):
                self._ladder.end(call.alert_id)
                continue
            moment = Instant(time_s, self._wall())
            self.send(reminder_of(alert, call.repeat, self._machine, moment), call.channels)

    def _note(self, channel: str, message: Message, outcome: str) -> None:
        self._record(
            {
                "channel": channel,
                "event": message.event,
                "alert_id": message.alert_id,
                "priority": message.priority.name,
                "repeat": message.repeat,
                "outcome": outcome,
            }
        )


def _priority_unwatched(assessment: Assessment) -> Priority:
    """How urgent it is that nobody watches: a build under way, something hot, or not knowing is an ALARM."""
    is_cold = all(wall.temp_c is not None and wall.temp_c <= HOT_C for wall in assessment.walls)
    return Priority.WARNING if is_cold and assessment.execution in _AT_REST else Priority.ALARM
