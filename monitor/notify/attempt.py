"""One attempt to send, in a thread of its own, so that nothing else ever waits for somebody else's server.

A thread that hangs cannot be ended. It is a daemon, so the program can end without it; and it is no pool's thread,
because a pool would wait for it at the end and run out of others before.
"""

import asyncio
import threading
from collections.abc import Awaitable, Callable, Coroutine
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any, Final

from monitor.core.alert_types import Priority

TIMEOUT_S: Final = 30.0
"""How long an attempt may take [s] (our own judgement; services that space their requests need some seconds)."""

NO_ANSWER: Final = f"no answer within {TIMEOUT_S:g} s"

Outcome = str | None
"""None: the service accepted the message. Otherwise why not, in words without secrets."""

Wait = Callable[[float], Coroutine[Any, Any, None]]
"""Waits so many seconds: `asyncio.sleep`, or a test's."""


@dataclass(frozen=True, slots=True)
class Letter:
    """What a service is given."""

    title: str
    body: str
    priority: Priority


@dataclass(frozen=True, slots=True)
class Channel:
    """A way to somebody: its own name, from which priority on it is used, and what sends (it blocks).

    `after_s`: how long an alert must have called in vain before this one is told [s].
    """

    name: str
    at_least: Priority
    send: Callable[[Letter], Outcome] = field(repr=False)
    after_s: float = 0.0


def begin(channel: Channel, letter: Letter) -> "asyncio.Future[Outcome]":
    """Send in a thread; the future gets its outcome, however late. It never holds an exception."""
    loop = asyncio.get_running_loop()
    future: asyncio.Future[Outcome] = loop.create_future()

    def work() -> None:
        outcome = _outcome(channel, letter)
        with suppress(RuntimeError):  # the loop is closed: the watch has ended meanwhile
            loop.call_soon_threadsafe(_give, future, outcome)

    try:
        threading.Thread(target=work, name="notification", daemon=True).start()
    except RuntimeError:
        future.set_result("the system lets no thread begin")
    return future


async def outcome_in_time(sending: "asyncio.Future[Outcome]", wait: Wait) -> Outcome:
    """Give the outcome of an attempt, or that there was none in time; the attempt itself goes on then."""
    await first_of(asyncio.wait({sending}), wait(TIMEOUT_S))
    return sending.result() if sending.done() else NO_ANSWER


async def first_of(*waits: Awaitable[Any]) -> None:
    """Wait until one is over; no task is left behind, cancelled or not."""
    tasks = [asyncio.ensure_future(it) for it in waits]
    try:
        await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


def _outcome(channel: Channel, letter: Letter) -> Outcome:
    try:
        return channel.send(letter)
    except Exception as error:  # noqa: BLE001 -- a service's own code; its message may hold the address, so only its kind
        return f"sending failed inside ({type(error).__name__})"


def _give(future: "asyncio.Future[Outcome]", outcome: Outcome) -> None:
    if not future.done():
        future.set_result(outcome)
