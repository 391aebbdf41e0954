"""A test alert climbs the ladder like an ALARM until it is seen, on simulated time."""

import asyncio
from dataclasses import replace

import pytest

from monitor.commands.alerts_run import status_of, verdict_lines
from monitor.exit_codes import DONE, NOT_ACCEPTED, NOT_SEEN
from monitor.notify.attempt import NO_ANSWER, TIMEOUT_S
from monitor.notify.plan import NotifyPlan
from monitor.notify.trial import Climb, Clock, Trial
from tests.notify_examples import Postman, SimulatedTime, until

TEN_MINUTES_S = 600.0


class Bench:
    """Three channels, a ladder, and a trial that the test drives."""

    def __init__(self, within_s: float = TEN_MINUTES_S) -> None:
        self.time, self.lines = SimulatedTime(), list[str]()
        self.postmen = {"phone": Postman(), "second": Postman(), "backup": Postman()}
        channels = tuple(
            replace(postman.channel(name), after_s=after_s)
            for (name, postman), after_s in zip(self.postmen.items(), (0.0, 120.0, 300.0), strict=True)
        )
        self.plan, self.within_s = NotifyPlan(channels), within_s
        self.seen: asyncio.Future[bool] = asyncio.get_running_loop().create_future()

    def begin(self) -> "asyncio.Task[Trial]":
        """Begin."""
        clock = Clock(self.time.wait, lambda: self.time.now_s, self.time.wall)
        return asyncio.create_task(Climb(self.plan, clock, self.lines.append).run(self.seen, self.within_s))

    async def forward(self, seconds: float) -> None:
        """Let time pass once everything has been answered and the trial waits."""
        await until(lambda: len(self.time.waits) == 1)
        self.time.forward(seconds)

    @property
    def tries(self) -> list[int]:
        """How often each channel was tried."""
        return [len(postman.letters) for postman in self.postmen.values()]


async def test_it_climbs_until_it_is_seen() -> None:
    """The second after two minutes; seen after three, so the backup is left asleep, and that is said."""
    bench = Bench()
    task = bench.begin()
    await until(lambda: bench.tries == [1, 0, 0])
    await bench.forward(119.0)
    await bench.forward(0.5)
    assert bench.tries == [1, 0, 0]
    await bench.forward(0.5)
    await until(lambda: bench.tries == [1, 1, 0])
    await bench.forward(60.0)
    bench.seen.set_result(True)
    trial = await task
    assert trial.seen_after_s == 180.0
    assert status_of(trial) == DONE
    assert bench.lines == ["phone: accepted", "second: accepted"]
    assert list(verdict_lines(bench.plan, trial, bench.within_s)) == [
        "backup: not tried, its turn comes after 5 min (--no-wait tries all)",
        "acknowledged after 3 min",
    ]
    assert "Nobody has acknowledged it yet." in bench.postmen["second"].letters[0].body
    assert "Nobody" not in bench.postmen["phone"].letters[0].body


@pytest.mark.parametrize(("within_s", "tries"), [(TEN_MINUTES_S, [1, 1, 1]), (1800.0, [2, 2, 2])])
async def test_one_that_nobody_sees_ends_in_time(within_s: float, tries: list[int]) -> None:
    """All were tried, and again after a quarter of an hour where the owner waits so long."""
    bench = Bench(within_s)
    task = bench.begin()
    while not task.done():
        await until(lambda: task.done() or len(bench.time.waits) == 1)
        bench.time.forward(30.0)
    trial = await task
    assert bench.tries == tries
    assert (trial.seen_after_s, status_of(trial)) == (None, NOT_SEEN)
    assert list(verdict_lines(bench.plan, trial, within_s))[-1].startswith("NOT acknowledged within ")


async def test_nobody_left_to_say_so_ends_it() -> None:
    """The terminal has gone away."""
    bench = Bench()
    task = bench.begin()
    await until(lambda: bench.tries == [1, 0, 0])
    bench.seen.set_result(False)
    assert status_of(await task) == NOT_SEEN


async def test_a_channel_that_fails_is_the_status_even_if_it_was_seen() -> None:
    """Refused, or without an answer: in the night this one would have failed as well."""
    bench = Bench()
    bench.postmen["phone"].hangs = True
    bench.postmen["second"].refusal = "refused with status 500"
    task = bench.begin()
    await until(lambda: bench.tries == [1, 0, 0] and TIMEOUT_S in bench.time.waits)
    bench.time.forward(TIMEOUT_S)
    await bench.forward(120.0)
    await until(lambda: bench.tries == [1, 1, 0] and len(bench.lines) == 2)
    bench.seen.set_result(True)
    trial = await task
    assert bench.lines == [f"phone: NOT accepted: {NO_ANSWER}", "second: NOT accepted: refused with status 500"]
    assert status_of(trial) == NOT_ACCEPTED
    assert "no channel accepted it: in the night nobody would have been told" in list(
        verdict_lines(bench.plan, trial, bench.within_s)
    )
    bench.postmen["phone"].go_on.set()
