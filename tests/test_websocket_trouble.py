"""The websocket link in trouble: oversize, deaf peers, floods, gaps, updates sent twice or out of order."""

import asyncio
import tracemalloc
from collections.abc import Callable

import pytest
from websockets.asyncio.server import ServerConnection

from connectors import websocket_connection
from connectors.telemetry import Event, LinkChange, Sample, Tick
from connectors.websocket_link import STEADY_AFTER_S, WebsocketLink
from tests.websocket_examples import NUMBERED, full, part, settings
from tests.websocket_server import (
    FLOOD,
    Pauses,
    TestClock,
    make,
    serving,
    started,
    stays,
    until,
    until_sample,
    until_told,
)


async def test_message_beyond_the_limit() -> None:
    """A giant message closes the connection with code 1009 (RFC 6455 section 7.4.1); the key to raise is named."""
    codes: list[int | None] = []

    async def handler(connection: ServerConnection) -> None:
        await connection.send(full() + " " * 5000)
        await connection.wait_closed()
        codes.append(connection.close_code)

    async with serving(handler) as (_, url), started(make(url, max_message_bytes=2000)) as events:
        lost = await until_told(events, "longer than max_message_bytes = 2000")
        await until_told(events, "connected to")
    assert not lost.available
    assert codes[0] == 1009


async def test_peer_that_went_deaf(monkeypatch: pytest.MonkeyPatch) -> None:
    """A peer that answers no ping is given up after the time-out, though its connection seems open."""

    async def relay(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Stand for a network that broke behind the first message: nothing goes through any more, in no direction."""
        there, onward = await asyncio.open_connection("127.0.0.1", port)
        onward.write(await reader.readuntil(b"\r\n\r\n"))
        writer.write(await there.readuntil(b"\r\n\r\n"))
        writer.write(await there.read(4096))
        await asyncio.shield(over.wait())
        for stream in (writer, onward):
            stream.close()

    monkeypatch.setattr(websocket_connection, "CLOSE_TIMEOUT_S", 0.05)
    over = asyncio.Event()
    async with serving(stays) as (server, _):
        port = server.sockets[0].getsockname()[1]
        between = await asyncio.start_server(relay, "127.0.0.1", 0)
        url = f"ws://127.0.0.1:{between.sockets[0].getsockname()[1]}/"
        # Shorter than any profile may ask for, so that the test need not wait.
        hasty = settings(url=url).model_copy(update={"ping_interval_s": 0.05, "ping_timeout_s": 0.05})
        link = WebsocketLink(hasty, TestClock(), beat_s=0.01, pause=Pauses())
        async with between, started(link) as events:
            await until_sample(events)
            lost = await until_told(events, "no answer to a ping for 0.05 s")
            over.set()
    assert not lost.available


async def test_server_that_accepts_and_closes_is_not_hammered() -> None:
    """Every loss is followed by a pause, and the pauses grow to their cap as long as no connection lives."""
    attempts = 0

    async def handler(connection: ServerConnection) -> None:
        nonlocal attempts
        attempts += 1
        await connection.send(full())

    pauses = Pauses()
    async with serving(handler) as (_, url), started(make(url, pauses=pauses, reconnect_max_s=30.0)) as events:
        while attempts < 12:
            await until_told(events, "the server closed the connection (code 1000)")
    assert len(pauses.taken_s) >= attempts - 1
    assert pauses.taken_s[:8] == sorted(pauses.taken_s[:8])
    assert sum(pauses.taken_s[:11]) > 60.0
    assert max(pauses.taken_s) <= 30.0 * 1.2


async def test_pauses_are_short_again_after_a_steady_connection() -> None:
    """A connection that lived a while was good: the next loss is mended soon."""
    clock, pauses = TestClock(), Pauses()
    end = asyncio.Event()

    async def handler(connection: ServerConnection) -> None:
        if len(pauses.taken_s) < 6:
            return
        await connection.send(full())
        await end.wait()

    async with serving(handler) as (_, url), started(make(url, clock, pauses)) as events:
        await until_sample(events)
        clock.now_s = STEADY_AFTER_S
        end.set()
        await until(events, lambda _: len(pauses.taken_s) > 6)
    assert pauses.taken_s[5] > 5.0
    assert pauses.taken_s[6] < 0.5


async def test_gap_is_mended_by_a_new_full_status() -> None:
    """A lost message makes the link connect anew, greet again, and go on from a whole status."""
    visits = 0

    async def handler(connection: ServerConnection) -> None:
        nonlocal visits
        visits += 1
        assert await connection.recv() == "status please"
        if visits == 1:
            await connection.send(full(n=1))
            await connection.send(part({"heat": {"now": 300.0}}, n=3))
        else:
            await connection.send(full({"heat": {"now": 203.0}}, n=1))
        await connection.wait_closed()

    changes = {"messages": NUMBERED, "on_connect": ["status please"]}
    async with serving(handler) as (_, url), started(make(url, None, None, **changes)) as events:
        assert (await until_sample(events)).values["temp_c:manifold"] == 210.5
        lost = await until_told(events, "message 2 never came")
        assert not lost.available
        assert (await until_sample(events)).values["temp_c:manifold"] == 203.0
    assert visits == 2


async def test_updates_sent_again_change_nothing() -> None:
    """A network that repeats old updates, one or two at a time: none is taken, and the link goes on without a word."""
    clock = TestClock()
    go_on = asyncio.Event()

    async def handler(connection: ServerConnection) -> None:
        await connection.send(full(n=1))
        await connection.send(part({"heat": {"now": 212.0}}, n=2))
        await go_on.wait()
        for old in (1, 2):
            await connection.send(part({"heat": {"now": 20.0 * old}, "feed": [{"run": 0.0}]}, n=old))
        await connection.send(part({"heat": {"now": 213.0}}, n=3))
        await connection.wait_closed()

    async with serving(handler) as (_, url), started(make(url, clock, messages=NUMBERED)) as events:
        await until(events, _is_at(210.5))
        clock.now_s = 1.0
        go_on.set()
        came = [await anext(events)]
        while not _is_at(213.0)(came[-1]):
            clock.now_s += 1.0
            came.append(await anext(events))
    assert all(isinstance(event, Tick | Sample) for event in came)
    walls_c = {event.values["temp_c:manifold"] for event in came if isinstance(event, Sample)}
    assert walls_c <= {212.0, 213.0}


async def test_updates_out_of_order_are_never_mixed_in() -> None:
    """The third update overtakes the second: the status is void, a new one is asked for, the late one is nowhere."""
    visits = 0

    async def handler(connection: ServerConnection) -> None:
        nonlocal visits
        visits += 1
        await connection.send(full(n=1))
        if visits == 1:
            await connection.send(part({"heat": {"now": 214.0}}, n=3))
            await connection.send(part({"heat": {"now": 20.0}, "feed": [{"run": 0.0}]}, n=2))
        await connection.wait_closed()

    async with serving(handler) as (_, url), started(make(url, messages=NUMBERED)) as events:
        came = [await anext(events)]
        while sum(isinstance(event, Sample) for event in came) < 2:
            came.append(await anext(events))
    told = [event.reason for event in came if isinstance(event, LinkChange) and not event.available]
    assert len(told) == 1
    assert "message 2 never came" in told[0]
    assert {event.values["temp_c:manifold"] for event in came if isinstance(event, Sample)} == {210.5}


def _is_at(wall_c: float) -> Callable[[Event], bool]:
    return lambda event: isinstance(event, Sample) and event.values.get("temp_c:manifold") == wall_c


async def test_connection_cut_without_a_word() -> None:
    """A connection that breaks off without a closing frame (RFC 6455 section 7.1.7) is told, and made anew."""
    visits = 0

    async def handler(connection: ServerConnection) -> None:
        nonlocal visits
        visits += 1
        await connection.send(full())
        if visits == 1:
            connection.transport.abort()
        await connection.wait_closed()

    async with serving(handler) as (_, url), started(make(url)) as events:
        lost = await until_told(events, "the connection broke off")
        assert not lost.available
        await until_sample(events)


async def test_server_that_floods_a_slow_reader() -> None:
    """While nobody takes events, what a server sends without end is left in the network: little is held, none lost."""
    clock = TestClock()
    sent = 0

    async def handler(connection: ServerConnection) -> None:
        nonlocal sent
        await connection.send(full(n=1))
        for number in range(2, FLOOD):
            await connection.send(part({"feed": [{"run": 100.0 + 0.001 * number, "fill": "x" * 2000}]}, n=number))
            sent = number

    by_index = [NUMBERED[0], NUMBERED[1] | {"arrays": "by_index"}]
    async with serving(handler) as (_, url), started(make(url, clock, messages=by_index)) as events:
        await until_sample(events)
        tracemalloc.start()
        try:
            seen = [-2, -1]
            while seen[-1] != seen[-2]:  # until the server is done, or is itself held back
                await asyncio.sleep(0.05)
                seen.append(sent)
            _, peak = tracemalloc.get_traced_memory()
        finally:
            tracemalloc.stop()
        assert sent * 2000 > 4 * peak
        last_mm = 0.0
        while last_mm < 0.001 * (FLOOD - 1) - 1e-6:
            clock.now_s += 0.3
            last_mm = (await until_sample(events)).values["fed_mm:1"]
    assert sent == FLOOD - 1
