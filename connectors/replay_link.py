"""A recording as a link: the events of a file, at the pace at which they happened or at once.

A thin shell: the file is read by `recording`, time and waiting come from outside.
"""

import asyncio
import time
from collections.abc import AsyncGenerator, Awaitable, Callable
from contextlib import aclosing, closing
from math import isfinite
from pathlib import Path
from typing import Final

from connectors.link import Clock
from connectors.recording import Conclusion, Header, Recording, read_recording
from connectors.telemetry import Event

ITEMS_BETWEEN_PAUSES: Final = 256
"""How many items may follow each other before other tasks get their turn."""


class ReplayLink:
    """Plays a recording.

    Parameters
    ----------
    path : Path
        The recording.
    speed : float or None
        How many times faster than it happened; None plays all at once.
    sleep : callable
        Waits for so many seconds [s].
    clock : Clock
        Monotonic seconds; only differences count.

    Raises
    ------
    RecordingError
        When the file cannot be read as a recording.
    ValueError
        When `speed` is not a finite number above 0.
    """

    def __init__(
        self,
        path: Path,
        *,
        speed: float | None = None,
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
        clock: Clock = time.monotonic,
    ) -> None:
        if speed is not None and not (isfinite(speed) and speed > 0):
            raise ValueError(f"speed is {speed}; allowed: a finite number above 0, or None for at once")
        self._recording = read_recording(path)
        self._speed = speed
        self._sleep = sleep
        self._clock = clock

    @property
    def header(self) -> Header:
        """What the recording says of itself."""
        return self._recording.header

    @property
    def recording(self) -> Recording:
        """The file, with the count of what could not be read."""
        return self._recording

    async def events(self) -> AsyncGenerator[Event, None]:
        """Yield the recorded events with their recorded times, until the recording ends."""
        async with aclosing(self.items()) as items:
            async for item in items:
                if not isinstance(item, Conclusion):
                    yield item

    async def items(self) -> AsyncGenerator[Event | Conclusion, None]:
        """Like `events`, with the recorded conclusions in their places."""
        offset_s: float | None = None
        with closing(self._recording.items()) as items:
            for number, item in enumerate(items):
                wait_s = 0.0
                if self._speed is not None:
                    if offset_s is None:
                        offset_s = self._clock() - item.time_s / self._speed
                    wait_s = offset_s + item.time_s / self._speed - self._clock()
                if wait_s > 0 or number % ITEMS_BETWEEN_PAUSES == 0:
                    await self._sleep(max(0.0, wait_s))
                yield item
