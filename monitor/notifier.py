"""Tells people who are not at the screen: passes alerts that call for something on to the owner's channels.

An onlooker of the session. Taking a step only puts messages into queues, so no channel can delay the watch. Sends
nothing to the machine: it holds no link, and `notify_file` refuses channels that lead to it.
"""

import asyncio
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from typing import Final

from monitor.notify_attempt import Channel, Wait, first_of
from monitor.notify_message import Message, message_of
from monitor.notify_queue import ChannelQueue
from monitor.step import Step

CLOSE_WITHIN_S: Final = 5.0
"""How long the end of a watch may wait for messages that are not sent yet [s]."""


def _now() -> datetime:
    return datetime.now().astimezone()


class Notifier:
    """Sends messages about alerts through channels.

    Parameters
    ----------
    channels : Sequence[Channel]
    machine : str
        Name of the machine, for the titles.
    wait : callable
        Waits so many seconds.
    wall : callable
        Gives the time of day, with its zone.
    """

    def __init__(
        self,
        channels: Sequence[Channel],
        machine: str,
        *,
        wait: Wait = asyncio.sleep,
        wall: Callable[[], datetime] = _now,
    ) -> None:
        self._machine, self._wait, self._wall = machine, wait, wall
        self._queues = tuple(ChannelQueue(channel, wait) for channel in channels)

    @property
    def notice(self) -> str:
        """What the owner should see of channels that fail; empty while all is well."""
        return "; ".join(filter(None, (queue.notice for queue in self._queues)))

    def take(self, step: Step) -> None:
        """Tell the alerts of a step. Never blocks."""
        for transition in step.transitions:
            message = message_of(transition, self._machine, self._wall())
            if message is not None:
                self.send(message)

    def send(self, message: Message) -> None:
        """Hand a message to every channel that its priority is enough for. Never blocks."""
        for queue in self._queues:
            queue.put(message)

    async def close(self) -> None:
        """Give what is not sent yet a last chance, then end; what is left is counted as lost."""
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
