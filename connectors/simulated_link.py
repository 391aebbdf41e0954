"""The link to the simulated machine: its events, paced against a clock.

Owns the pace alone; what happens is decided in `simulated_machine`.
"""

import asyncio
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from functools import partial
from math import isfinite
from typing import Final

from connectors.errors import SettingsError
from connectors.link import Clock
from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import Scenario
from connectors.telemetry import Event

Sleep = Callable[[float], Awaitable[None]]

NAP_S: Final = 0.01
"""A shorter wait is not worth a sleep: at high speed several events go out together."""
LAG_MOST_S: Final = 2.0
"""When more than this behind (a computer that was suspended), the lost time is let go instead of caught up."""
BURST: Final = 100
"""Events between two breaths given to other tasks while there is nothing to wait for."""


class SimulatedLink:
    """Events of a simulated night, `speed` machine seconds per second.

    Parameters
    ----------
    scenario : Scenario
        What goes wrong.
    seed, period_s, duration_s
        As for `connectors.simulated_machine.simulate`.
    speed : float or None
        Machine seconds per second, more than 0; None for as fast as it goes.
    sleep, clock
        How to wait, and seconds of a monotonic clock; other than the defaults for tests only.

    Raises
    ------
    SettingsError
        If `speed` is not more than 0, or another value is out of the range of `simulate`.
    """

    def __init__(
        self,
        scenario: Scenario,
        *,
        seed: int = 1,
        period_s: float = 1.0,
        duration_s: float | None = None,
        speed: float | None = None,
        sleep: Sleep = asyncio.sleep,
        clock: Clock = time.monotonic,
    ) -> None:
        if speed is not None and not (isfinite(speed) and speed > 0):
            raise SettingsError(f"simulated machine: speed = {speed} cannot be; allowed: more than 0, or none at all")
        self._night = partial(simulate, scenario, seed, period_s, duration_s)
        self._night()  # a wrong setting is told now, not at the first event
        self._speed, self._sleep, self._clock = speed, sleep, clock

    async def events(self) -> AsyncIterator[Event]:
        """Yield the events of the whole night; each call begins it anew."""
        pace = _Pace(self._speed, self._sleep, self._clock)
        for event in self._night():
            await pace.wait_for(event.time_s)
            yield event


class _Pace:
    """Holds events back until they are due by the clock, so that small delays never add up."""

    def __init__(self, speed: float | None, sleep: Sleep, clock: Clock) -> None:
        self._speed, self._sleep, self._clock = speed, sleep, clock
        self._begin_s = clock()  # when machine time 0 was, or would have been
        self._since_breath = 0

    async def wait_for(self, time_s: float) -> None:
        """Return when machine time `time_s` [s] is due, or at once when it is overdue."""
        ahead_s = self._ahead_s(time_s)
        self._since_breath += 1
        if ahead_s >= NAP_S:
            await self._sleep(ahead_s)
            self._since_breath = 0
        elif self._since_breath >= BURST:
            await self._sleep(0.0)
            self._since_breath = 0

    def _ahead_s(self, time_s: float) -> float:
        if self._speed is None:
            return 0.0
        ahead_s = self._begin_s + time_s / self._speed - self._clock()
        if ahead_s < -LAG_MOST_S:
            self._begin_s -= ahead_s
            return 0.0
        return ahead_s
