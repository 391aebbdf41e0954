"""What waits to be sent by one channel: bounded, retried with backoff, counted when it could not be sent.

Owns order, retries, what the owner is told of a channel that fails, and what is noted of each message. Knows nothing of
services.
"""

import asyncio
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from monitor.notify.attempt import Channel, Letter, Outcome, Wait, begin, first_of, outcome_in_time
from monitor.notify.message import Message

MOST_WAITING: Final = 100
FIRST_PAUSE_S: Final = 10.0
LONGEST_PAUSE_S: Final = 300.0
"""After failures a channel pauses, twice as long each time up to this [s] (our own judgement)."""

MOST_UNDER_WAY: Final = 4
"""Attempts of one channel that may hang at the same time; each is a thread."""


Note = Callable[[str, Message, str], None]
"""Is told what became of a message: the channel's name, the message, and 'accepted', 'failed: …', 'lost: …' or
'withdrawn: …'. A message that fails again for the same reason is not noted again."""


def _forget(_channel: str, _message: Message, _outcome: str) -> None:
    """Note nothing."""


@dataclass(slots=True, eq=False)
class _Waiting:
    message: Message
    attempts: int = 0
    is_late: bool = False  # whether this very message, and not one that it repeats, has been tried
    failure: Outcome = None  # as it was noted last

    @property
    def rank(self) -> tuple[int, int]:
        """First what was tried least, so that one message a service refuses does not hold up the others."""
        return self.attempts, -self.message.priority


class ChannelQueue:
    """Sends messages by one channel, in a task of its own that begins with the first message."""

    def __init__(self, channel: Channel, wait: Wait, note: Note = _forget) -> None:
        self.channel = channel
        self.accepted = self.lost = 0
        """Messages that the service accepted; messages given up for want of room, or because the watch ended."""
        self._wait, self._note = wait, note
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
        """Take a message to be sent, if it is urgent enough for this channel. Needs a running loop; never blocks.

        A repeat takes the place of what still waits about the same alert: a channel that works again after hours must
        not tell one alert a dozen times.
        """
        if message.priority < self.channel.at_least:
            return
        older = [it for it in self._waiting if message.repeat and it.message.alert_id == message.alert_id]
        if older:
            older[-1].message, older[-1].is_late = message, False
            return
        self._waiting.append(_Waiting(message))
        if self._end.is_set():
            self._give_up()
        elif len(self._waiting) > MOST_WAITING:
            self._lose(min(self._waiting, key=lambda it: it.message.priority), "too many wait")  # oldest of the least
        self._news.set()
        if self._task is None:
            self._task = asyncio.create_task(self._run())

    def withdraw(self, alert_id: str, why: str) -> None:
        """Do not send any more what waits about an alert."""
        for waiting in [it for it in self._waiting if it.message.alert_id == alert_id]:
            self._waiting.remove(waiting)
            self._tell(waiting.message, f"withdrawn: {why}")

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
        for waiting in tuple(self._waiting):
            self._lose(waiting, "the watch ended")

    def _lose(self, waiting: _Waiting, why: str) -> None:
        self._waiting.remove(waiting)
        self.lost += 1
        self._tell(waiting.message, f"lost: {why}")

    def _tell(self, message: Message, outcome: str) -> None:
        self._note(self.channel.name, message, outcome)

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
        letter = Letter(message.title, message.body(is_late=chosen.is_late), message.priority)
        chosen.attempts += 1
        chosen.is_late = True
        sending = begin(self.channel, letter)
        self._under_way.add(sending)
        sending.add_done_callback(lambda done: self._answered(chosen, message, done))
        outcome = await outcome_in_time(sending, self._wait)
        if outcome is not None and outcome != chosen.failure:
            chosen.failure = outcome
            self._tell(message, f"failed: {outcome}")
        return outcome is None or self._fail(outcome)

    def _answered(self, chosen: _Waiting, message: Message, done: "asyncio.Future[Outcome]") -> None:
        """Take an answer, in time or late: also what a slow service accepts late is sent, and not sent again."""
        self._under_way.discard(done)
        if done.result() is not None:
            return
        self._failure, self._failures = None, 0
        self._tell(message, "accepted")
        if chosen in self._waiting:
            self._waiting.remove(chosen)
            self.accepted += 1

    def _fail(self, why: str) -> bool:
        self._failure = why
        self._failures += 1
        return False
