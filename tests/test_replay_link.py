"""A recording as a link: same events, right pace, nothing left open."""

import asyncio
from contextlib import aclosing
from pathlib import Path

import pytest

from connectors.errors import RecordingError
from connectors.link import Link
from connectors.recording import Conclusion, Encoder
from connectors.replay_link import ITEMS_BETWEEN_PAUSES, ReplayLink
from connectors.telemetry import Tick
from tests.recording_examples import HEADER, NIGHT, night_lines


class Stopwatch:
    """A clock that moves only by waiting."""

    def __init__(self, now_s: float = 100.0) -> None:
        self.now_s = now_s
        self.waits_s: list[float] = []

    def read(self) -> float:
        """Time now [s]."""
        return self.now_s

    async def sleep(self, wait_s: float) -> None:
        """Let time pass."""
        self.waits_s.append(wait_s)
        self.now_s += wait_s


@pytest.fixture
def night(tmp_path: Path) -> Path:
    path = tmp_path / "night.jsonl"
    path.write_bytes(b"".join(night_lines()))
    return path


async def test_it_yields_the_recorded_events_with_their_times(night: Path) -> None:
    """All events, no conclusions, in order; the header is at hand before the first event."""
    link = ReplayLink(night)
    as_link: Link = link
    assert link.header == HEADER
    assert [event async for event in as_link.events()] == list(NIGHT)


async def test_items_carry_the_conclusions_too(night: Path) -> None:
    """Acknowledgements and alerts of the recording can be had in their places."""
    items = [item async for item in ReplayLink(night).items()]
    assert items[:-1] == list(NIGHT)
    assert isinstance(items[-1], Conclusion)


@pytest.mark.parametrize("speed", [1.0, 8.0, 0.5])
async def test_paced_events_come_when_they_happened(night: Path, speed: float) -> None:
    """At a given speed each event comes at its recorded time over the speed, counted from the first one."""
    watch = Stopwatch()
    link = ReplayLink(night, speed=speed, sleep=watch.sleep, clock=watch.read)
    came_s = [(event.time_s, watch.now_s) async for event in link.events()]
    assert [came for _, came in came_s] == pytest.approx([100.0 + time_s / speed for time_s, _ in came_s], abs=1e-9)


async def test_a_late_listener_is_caught_up(night: Path) -> None:
    """After a slow consumer, events that are due come without waiting, and the pace is kept from the start."""
    watch = Stopwatch()
    link = ReplayLink(night, speed=1.0, sleep=watch.sleep, clock=watch.read)
    async for event in link.events():
        if event.time_s == 0.25:
            watch.now_s += 1.5
        if event.time_s == 2.5:
            assert watch.now_s == pytest.approx(102.5)


async def test_at_once_never_waits_but_lets_others_run(tmp_path: Path) -> None:
    """Without a speed nothing waits, and every few hundred items other tasks get their turn."""
    encoder, path = Encoder(HEADER), tmp_path / "long.jsonl"
    ticks = b"".join(encoder.encode(Tick(float(second))) for second in range(4 * ITEMS_BETWEEN_PAUSES))
    path.write_bytes(encoder.header_line() + ticks)
    watch = Stopwatch()
    count = sum([1 async for _ in ReplayLink(path, sleep=watch.sleep, clock=watch.read).events()])
    assert count == 4 * ITEMS_BETWEEN_PAUSES
    assert watch.waits_s == [0.0] * 4


async def test_leaving_early_closes_the_file(night: Path) -> None:
    """Closing the stream closes the file under it at once: pytest would report a file left open."""
    async with aclosing(ReplayLink(night).events()) as events:
        assert await anext(events) == NIGHT[0]


async def test_a_cancelled_wait_ends_the_replay(night: Path) -> None:
    """A replay that waits for its next event ends at once when its task is cancelled."""
    waiting = asyncio.Event()

    async def never(wait_s: float) -> None:
        if wait_s > 0:
            waiting.set()
            await asyncio.Event().wait()

    async def play() -> None:
        async for _ in ReplayLink(night, speed=1.0, sleep=never, clock=lambda: 0.0).events():
            pass

    task = asyncio.create_task(play())
    await asyncio.wait_for(waiting.wait(), 5)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task


@pytest.mark.parametrize("speed", [0.0, -1.0, float("inf"), float("nan")])
def test_a_speed_that_cannot_be_is_refused(night: Path, speed: float) -> None:
    """The message names the field, the value and what is allowed."""
    with pytest.raises(ValueError, match=r"speed is .*allowed: a finite number above 0"):
        ReplayLink(night, speed=speed)


def test_a_file_that_is_no_recording_is_refused_before_the_start(tmp_path: Path) -> None:
    """A wrong file is told when the link is made, not in the middle of a screen."""
    path = tmp_path / "notes.txt"
    path.write_text("buy filament\n")
    with pytest.raises(RecordingError, match="is not a recording"):
        ReplayLink(path)
