"""What every link has in common: an asynchronous stream of events, back-off, and the beat of ticks.

A link owns one connection to a machine (or a stand-in) and keeps it up by itself. It never raises for what the
remote side says or does, except `LinkFailedError` when trying again cannot help.
"""

import asyncio
import random
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import suppress
from typing import Final, Protocol

from connectors.telemetry import Event, Tick

Clock = Callable[[], float]
"""Seconds on the watch's own monotonic clock since the session began."""

TICK_S: Final = 1.0


class Link(Protocol):
    """A source of events."""

    def events(self) -> AsyncIterator[Event]:
        """Yield events in order of time until the source ends; closing the iterator closes the connection."""
        ...


def backoff(first_s: float, cap_s: float, jitter: Callable[[], float] = random.random) -> Iterator[float]:
    """Endless waiting times [s] between attempts: doubling from `first_s` to `cap_s`, each spread by ±20 %.

    >>> delays = backoff(0.5, 10.0, jitter=lambda: 0.5)
    >>> [next(delays) for _ in range(6)]
    [0.5, 1.0, 2.0, 4.0, 8.0, 10.0]
    """
    wait_s = first_s
    while True:
        yield wait_s * (0.8 + 0.4 * jitter())
        wait_s = min(wait_s * 2, cap_s)


async def with_ticks(events: AsyncIterator[Event], clock: Clock, every_s: float = TICK_S) -> AsyncIterator[Event]:
    """Pass `events` on and add a `Tick` for every `every_s` seconds, so that silence is noticed downstream."""
    pending = asyncio.ensure_future(_next(events))
    due_s = clock() + every_s
    try:
        while True:
            await asyncio.wait({pending}, timeout=max(0.0, due_s - clock()))
            if pending.done():
                event = pending.result()
                if event is None:
                    return
                pending = asyncio.ensure_future(_next(events))
                yield event
            if clock() >= due_s:
                due_s = clock() + every_s
                yield Tick(clock())
    finally:
        pending.cancel()
        with suppress(asyncio.CancelledError, StopAsyncIteration, Exception):
            await pending
        close = getattr(events, "aclose", None)
        if close is not None:
            await close()


async def _next(events: AsyncIterator[Event]) -> Event | None:
    return await anext(events, None)
