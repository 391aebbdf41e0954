"""What a screen costs that reads nothing, and how one that comes late is told the past."""

from collections.abc import Iterator
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from monitor.attach import screen as attach_screen
from monitor.attach.server import AttachServer
from monitor.attach.wire import Past, framed
from monitor.client import WatchClient
from monitor.history.memory import History, Piece
from tests.attach_examples import (
    SESSIONS,
    HeldNight,
    attached,
    offered,
    raw,
    session_of,
    short_directory,
    two_hours,
    until,
)


@pytest.fixture
def place() -> Iterator[Path]:
    """A directory whose sockets have short enough paths whatever the test is called."""
    yield from short_directory()


@pytest.fixture
def night() -> HeldNight:
    """Two hours of the night, then silence."""
    return two_hours()


async def _most_waiting(server: AttachServer, *, until_attached: int) -> int:
    """The most bytes that waited for any screen until only so many are attached."""
    most = 0

    def is_dropped() -> bool:
        nonlocal most
        sizes = [s._transport.get_write_buffer_size() for s in server._connected if s._transport is not None]
        most = max([most, *sizes])
        return server.attached == until_attached

    await until(is_dropped)
    return most


def pieces(client: WatchClient) -> list[Piece]:
    """The whole past that somebody knows."""
    return list(client.history.pieces())


async def test_a_screen_that_reads_nothing_holds_up_nobody_and_is_let_go(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It costs one message of memory, the others see every state meanwhile, and after a time it is dropped."""
    monkeypatch.setattr(attach_screen, "UNREAD_S", 0.5)
    night = HeldNight()
    session = session_of(night)
    async with offered(session, place, hz=500.0) as server, attached(server) as client, raw(server.path) as stopped:
        stopped.greet()
        stopped.writer.transport.pause_reading()  # type: ignore[attr-defined]  # a stream's transport can
        await until(lambda: server.attached == 2)
        most = await _most_waiting(server, until_attached=1)
        assert 0 < most <= len(server._frame) + 1_000
        assert client.latest is not None
        at_s = client.latest.time_s
        await until(lambda: client.latest is not None and client.latest.time_s > at_s)
        assert client.ended is None


def _same_past(one: History, other: History, end_s: float) -> None:
    for key in other.keys:
        for columns, span_s in product((7, 60), (200.0, 1200.0, 9000.0)):
            now, then = one.trend(key, end_s - span_s, end_s, columns), other.trend(key, end_s - span_s, end_s, columns)
            for part in ("low", "high", "last", "known"):
                np.testing.assert_array_equal(getattr(now, part), getattr(then, part))


async def test_a_screen_that_comes_late_is_told_the_past(place: Path) -> None:
    """All that the watch remembers, though the screen came when it was over; and again after a lost connection."""
    night = HeldNight()
    session = session_of(night)
    session.keep_history()
    night.is_enough = lambda: session.time_s > 1_200.0
    async with offered(session, place) as server:
        await night.held.wait()
        async with attached(server) as client:
            seen: WatchClient = client
            await until(lambda: server.attached == 1 and not any(it.is_told_the_past for it in server._shown))
            await until(lambda: len(pieces(client)) == len(pieces(session)))
            assert len(seen.history.keys) > 50
            _same_past(seen.history, session.history, session.time_s)
            next(iter(server._connected)).drop()
            await until(lambda: server.attached == 0)
            await until(lambda: server.attached == 1 and len(pieces(client)) > 2)
            await until(lambda: pieces(client)[-1].first == pieces(session)[-1].first)
            _same_past(client.history, session.history, session.time_s)


async def test_a_screen_that_is_attached_goes_on_by_itself(place: Path) -> None:
    """The past comes once; what comes later is remembered from what the screen is shown."""
    night = HeldNight(rest_s=0.001)
    session = session_of(night)
    session.keep_history()
    night.is_enough = lambda: session.time_s > 1_000.0
    async with offered(session, place) as server:
        await until(lambda: session.time_s > 300.0)
        async with attached(server) as client:
            await night.held.wait()
            await until(lambda: client.latest is not None and client.latest.time_s == session.time_s)
            assert client.history.trend("dose 4", 40.0, 1000.0, 25).known.all()
            assert client.history.span is not None
            assert client.history.span[0] < 40.0


async def test_the_past_costs_a_screen_that_reads_nothing_one_piece(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However long the watch has lasted, what waits for such a screen is a message and a piece."""
    monkeypatch.setattr(attach_screen, "UNREAD_S", 0.5)
    night = HeldNight()
    session = session_of(night)
    for time_s in range(0, 400_000, 120):
        session.history.take_readings(float(time_s), {f"curve {number}": float(number) for number in range(60)})
    night.is_enough = lambda: session.time_s > 600.0
    largest = max(len(framed(Past(piece))) for piece in session.history.pieces())
    whole = sum(len(piece.values) for piece in session.history.pieces())
    async with offered(session, place) as server, raw(server.path) as stopped:
        stopped.greet()
        stopped.writer.transport.pause_reading()  # type: ignore[attr-defined]  # a stream's transport can
        await until(lambda: server.attached == 1)
        most = await _most_waiting(server, until_attached=0)
        assert 0 < most <= largest + len(server._frame) + 1_000 < whole / 5


async def test_a_past_that_is_none_is_told_and_nothing_more(place: Path, night: HeldNight) -> None:
    """A piece that fits nowhere is left out; the screen goes on."""
    async with offered(SESSIONS[night], place) as server, attached(server) as client:
        await until(lambda: server.attached == 1)
        frame = framed(Past(Piece(("a",), 5.0, 0, b"", 0.0, 0.0)))
        next(iter(server._shown))._transport.write(frame)  # type: ignore[union-attr]  # it is connected
        await until(lambda: "past is not understood" in client.notice)
        await night.held.wait()
        await until(lambda: client.latest is not None and client.latest.time_s == SESSIONS[night].time_s)
        assert client.ended is None
