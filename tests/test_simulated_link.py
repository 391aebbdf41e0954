"""The pace of the simulated link, with a clock and sleeps of our own."""

import asyncio
from collections.abc import AsyncGenerator
from typing import cast

import pytest

from connectors.errors import SettingsError
from connectors.simulated_link import BURST, LAG_MOST_S, NAP_S, SimulatedLink
from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import SCENARIOS
from connectors.telemetry import Event

HEALTHY = SCENARIOS["healthy-night"]


class FalseTime:
    """A clock that only sleeping moves; each sleep takes `late_s` too long."""

    def __init__(self, late_s: float = 0.0) -> None:
        self.now_s = 1_000.0
        self.late_s = late_s
        self.slept_s: list[float] = []

    def clock(self) -> float:
        """Tell the time."""
        return self.now_s

    async def sleep(self, seconds: float) -> None:
        """Move the clock on."""
        self.slept_s.append(seconds)
        self.now_s += seconds + (self.late_s if seconds > 0 else 0.0)
        await asyncio.sleep(0)


def link(false: FalseTime, speed: float | None, duration_s: float) -> SimulatedLink:
    return SimulatedLink(HEALTHY, duration_s=duration_s, speed=speed, sleep=false.sleep, clock=false.clock)


async def arrivals(false: FalseTime, speed: float, duration_s: float) -> list[tuple[float, float]]:
    """Machine time of each event, and seconds since the start at which it came."""
    return [(e.time_s, false.now_s - 1_000.0) async for e in link(false, speed, duration_s).events()]


async def test_events_are_those_of_the_machine() -> None:
    """The link passes on every event of the night, in order and unchanged."""
    seen = [event async for event in SimulatedLink(HEALTHY, seed=4, period_s=2.0, duration_s=900.0).events()]
    assert seen == list(simulate(HEALTHY, 4, 2.0, 900.0))


@pytest.mark.parametrize("speed", [1.0, 60.0])
async def test_pace_is_kept_without_drift(speed: float) -> None:
    """With sleeps that each last 5 ms too long, the last event of an hour is as punctual as the first."""
    came = await arrivals(FalseTime(late_s=0.005), speed, 3_600.0)
    assert len(came) == 3_601
    assert all(-NAP_S - 1e-9 <= at_s - time_s / speed < 0.006 for time_s, at_s in came)


async def test_high_speed_bundles_events() -> None:
    """At an hour a second events go out in bundles: no more sleeps than hundredths of a second."""
    false = FalseTime()
    came = await arrivals(false, 3_600.0, 7_200.0)
    assert came[-1][1] == pytest.approx(2.0, abs=NAP_S)
    assert len(false.slept_s) <= 2.0 / NAP_S + 7_200 / BURST + 1
    assert all(-NAP_S - 1e-9 <= at_s - time_s / 3_600.0 <= 1e-9 for time_s, at_s in came)


async def test_a_short_delay_is_caught_up() -> None:
    """After a delay shorter than the bound the events that are due come at once, and then the pace is the old one."""
    false = FalseTime()
    delays = {}
    async for event in link(false, 1.0, 60.0).events():
        delays[event.time_s] = false.now_s - 1_000.0 - event.time_s
        if event.time_s == 20:
            false.now_s += LAG_MOST_S * 0.9
    assert delays[20] == 0
    assert delays[21] == pytest.approx(LAG_MOST_S * 0.9 - 1)
    assert delays[23] == delays[60] == pytest.approx(0)


async def test_a_long_delay_is_let_go() -> None:
    """After a suspended hour the night goes on from where it was instead of racing through the hour."""
    false = FalseTime()
    delays = {}
    async for event in link(false, 1.0, 60.0).events():
        delays[event.time_s] = false.now_s - 1_000.0 - event.time_s
        if event.time_s == 20:
            false.now_s += 3_600.0
    assert delays[21] == delays[60] == pytest.approx(3_599.0)


async def test_as_fast_as_it_goes_lets_others_run() -> None:
    """Without a speed nothing waits, yet another task gets its turn all along."""
    turns = 0

    async def other() -> None:
        nonlocal turns
        while True:
            turns += 1
            await asyncio.sleep(0)

    task = asyncio.create_task(other())
    count = 0
    async for _ in SimulatedLink(HEALTHY, duration_s=2_000.0, speed=None).events():
        count += 1
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    assert count == 2_001
    assert turns >= count // BURST


async def test_closing_ends_the_night_and_leaves_no_task() -> None:
    """A screen may stop in the middle of a night; nothing is left running, and the next run begins anew."""
    false = FalseTime()
    machine = link(false, 60.0, 600.0)
    before = asyncio.all_tasks()
    events = cast("AsyncGenerator[Event]", machine.events())
    for _ in range(10):
        last = await anext(events)
    await events.aclose()
    assert last.time_s == 9
    assert asyncio.all_tasks() == before
    again = cast("AsyncGenerator[Event]", machine.events())
    assert (await anext(again)).time_s == 0
    await again.aclose()


@pytest.mark.parametrize("speed", [0.0, -1.0, float("inf"), float("nan")])
def test_an_impossible_speed_is_refused(speed: float) -> None:
    """The message names the setting, its value and what is allowed."""
    with pytest.raises(SettingsError, match=rf"speed = {speed}.*allowed"):
        SimulatedLink(HEALTHY, speed=speed)


def test_other_wrong_settings_are_told_when_the_link_is_made() -> None:
    """A wrong period is refused at once, not at the first event."""
    with pytest.raises(SettingsError, match="period_s"):
        SimulatedLink(HEALTHY, period_s=-1.0)
