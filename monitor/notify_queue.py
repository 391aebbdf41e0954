"""What waits to be sent by one channel: bounded, retried with backoff, counted when it could not be sent.

Owns order, retries and what the owner is told of a channel that fails. Knows nothing of services.
"""

import asyncio
from dataclasses import dataclass
from typing import Final

from monitor.notify_attempt import Channel, Letter, Outcome, Wait, begin, first_of, outcome_in_time
from monitor.notify_message import Message

MOST_WAITING: Final = 100
FIRST_PAUSE_S: Final = 10.0
LONGEST_PAUSE_S: Final = 300.0
"""After failures a channel pauses, twice as long each time up to this [s] (our own judgement)."""

MOST_UNDER_WAY: Final = 4
"""Attempts of one channel that may hang at the same time; each is a thread."""


@dataclass(slots=True, eq=False)
class _Waiting:
    message: Message
    attempts: int = 0

    @property
    def rank(self) -> tuple[int, int]:
        """First what was tried least, so that one message a service refuses does not hold up the others."""
        return self.attempts, -self.message.priority


class ChannelQueue:
    """Sends messages by one channel, in a task of its own that begins with the first message."""

    def __init__(self, channel: Channel, wait: Wait) -> None:
        self.channel = channel
        self.accepted = self.lost = 0
        """Messages that the service accepted; messages given up for want of room, or because the watch ended."""
        self._wait = wait
        self._waiting: list[_Waiting] = []
        self._under_way: set[asyncio.Future[Outcome]] = set()
        self._failure: Outcome = None
        self._failures = 0
        self._news, self._end = asyncio.Event(), asyncio.Event()
        self._task: asyncio.Task[None] | None = None

    @property
    def notice(self) -> str:
        """What the owner should see of this channel; empty while all is well."""
        name, told = self.channel.name, []
        if self._failure is not None:
            goes_on = "; what waits is tried again" if self._waiting and not self._end.is_set() else ""
            told.append(f"notifications by {name} fail: {self._failure}{goes_on}")
        if self.lost:
            told.append(f"{self.lost} {'message' if self.lost == 1 else 'messages'} could not be sent by {name}")
        return "; ".join(told)

    def put(self, message: Message) -> None:
        """Take a message to be sent, if it is urgent enough for this channel. Needs a running loop; never blocks."""
        if message.priority < self.channel.at_least:
            return
        self._waiting.append(_Waiting(message))
        if self._end.is_set():
            self._give_up()
        elif len(self._waiting) > MOST_WAITING:
            self._waiting.remove(min(self._waiting, key=lambda it: it.message.priority))  # the oldest of the least
            self.lost += 1
        self._news.set()
        if self._task is None:
            self._task = asyncio.create_task(self._run())

    def hurry(self) -> None:
        """Try what waits once more, without pauses, and end at the first failure."""
        self._end.set()
        self._news.set()

    async def drained(self) -> None:
        """Wait until the task has ended, after `hurry`."""
        if self._task is not None:
            await asyncio.wait({self._task})

    async def close(self) -> None:
        """End at once; what still waits is lost, and counted."""
        self.hurry()
        if self._task is not None:
            self._task.cancel()
            await asyncio.wait({self._task})
        self._give_up()

    def _give_up(self) -> None:
        self.lost += len(self._waiting)
        self._waiting.clear()

    async def _run(self) -> None:
        try:
            await self._send_all()
        except Exception as error:  # noqa: BLE001 -- told like any failure: a watch of a night goes on without it
            self._failure = f"a fault of strandwatch itself ({type(error).__name__}); nothing more is sent"

    async def _send_all(self) -> None:
        while True:
            if not self._waiting:
                if self._end.is_set():
                    return
                self._news.clear()
                await self._news.wait()
            elif not await self._send(min(self._waiting, key=lambda it: it.rank)):
                if self._end.is_set():
                    return
                pause_s = min(LONGEST_PAUSE_S, FIRST_PAUSE_S * 2.0 ** min(self._failures - 1, 10))
                await first_of(self._end.wait(), self._wait(pause_s))

    async def _send(self, chosen: _Waiting) -> bool:
        """Try one message; tell whether the service accepted it."""
        if len(self._under_way) >= MOST_UNDER_WAY:
            return self._fail(f"{MOST_UNDER_WAY} attempts hang")
        message = chosen.message
        letter = Letter(message.title, message.body(is_late=chosen.attempts > 0), message.priority)
        chosen.attempts += 1
        sending = begin(self.channel, letter)
        self._under_way.add(sending)
        sending.add_done_callback(lambda done: self._answered(chosen, done))
        outcome = await outcome_in_time(sending, self._wait)
        return outcome is None or self._fail(outcome)

    def _answered(self, chosen: _Waiting, done: "asyncio.Future[Outcome]") -> None:
        """Take an answer, in time or late: also what a slow service accepts late is sent, and not sent again."""
        self._under_way.discard(done)
        if done.result() is not None:
            return
        self._failure, self._failures = None, 0
        if chosen in self._waiting:
            self._waiting.remove(chosen)
            self.accepted += 1

    def _fail(self, why: str) -> bool:
        self._failure = why
        self._failures += 1
        return False
