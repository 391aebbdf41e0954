"""The websocket link against real servers in the same process, on the loopback interface."""

import asyncio
import json
from http import HTTPStatus

import pytest
from websockets.asyncio.server import ServerConnection
from websockets.http11 import Request, Response

from connectors.telemetry import LinkChange, Sample, Tick
from tests.websocket_examples import FULL_RULE, full, part
from tests.websocket_server import (
    LONGEST_TEST_S,
    Pauses,
    TestClock,
    failure,
    make,
    serving,
    started,
    stays,
    until,
    until_sample,
    until_told,
)


async def test_full_and_partial_states_arrive() -> None:
    """A status and a change on it become samples; the connection is told first."""
    clock = TestClock()
    go_on = asyncio.Event()

    async def handler(connection: ServerConnection) -> None:
        await connection.send(full())
        await go_on.wait()
        await connection.send(part({"heat": {"now": 212.0}}))
        await connection.wait_closed()

    async with serving(handler) as (_, url), started(make(url, clock)) as events:
        first = await anext(events)
        assert isinstance(first, LinkChange)
        assert first.available
        assert first.reason == f"connected to {url}"
        assert (await until_sample(events)).values["temp_c:manifold"] == 210.5
        clock.now_s = 1.0
        go_on.set()
        second = await until_sample(events)
    assert (second.time_s, second.values["temp_c:manifold"]) == (1.0, 212.0)


async def test_sends_exactly_the_texts_of_the_profile() -> None:
    """The greeting in its order, the keepalive in its time, and nothing else."""
    clock = TestClock()
    heard: list[str | bytes] = []
    greeted, kept = asyncio.Event(), asyncio.Event()

    async def handler(connection: ServerConnection) -> None:
        async for message in connection:
            heard.append(message)
            if len(heard) == 2:
                await connection.send(full())
                greeted.set()
            if len(heard) == 3:
                kept.set()

    async with serving(handler) as (_, url):
        link = make(url, clock, on_connect=["one", '{"two": 2}'], keepalive={"every_s": 5.0, "text": "KEEP"})
        async with started(link) as events:
            await until_sample(events)
            assert greeted.is_set()
            clock.now_s = 5.0
            await kept.wait()
    assert heard == ["one", '{"two": 2}', "KEEP"]


async def test_server_that_restarts() -> None:
    """The loss is told, the pause is taken, and the link connects again to the same port by itself."""
    pauses = Pauses()
    async with serving(stays) as (server, url):
        port = server.sockets[0].getsockname()[1]
        link = make(url, pauses=pauses)
        async with started(link) as events:
            await until_sample(events)
            server.close()
            lost = await until_told(events, "the server closed the connection (code 1001)")
            assert not lost.available
            assert not (await until_told(events, "nothing answers at this port")).available
            async with serving(stays, port):
                await until_told(events, "connected to")
                await until_sample(events)
    assert pauses.taken_s


async def test_refused_at_first() -> None:
    """At the start a port where nothing answers is a failure that says what to do, unless the owner waits for it."""
    async with serving(stays) as (server, url):
        port = server.sockets[0].getsockname()[1]
    assert "nothing answers at this port: is the machine on" in await failure(make(url))
    async with started(make(url, wait_for_server=True)) as events:
        assert not (await until_told(events, "nothing answers")).available
        async with serving(stays, port):
            await until_sample(events)


async def test_planned_renewal_is_no_fault() -> None:
    """`resync_every_s` connects anew without a word: nothing was lost."""
    clock = TestClock()
    visits = 0

    async def handler(connection: ServerConnection) -> None:
        nonlocal visits
        visits += 1
        await connection.send(full())
        await connection.wait_closed()

    async with (
        serving(handler) as (_, url),
        started(make(url, clock, resync_every_s=60.0, stale_after_s=100.0)) as events,
    ):
        await until_sample(events)
        clock.now_s = 61.0
        next_one = await until(events, lambda e: not isinstance(e, Tick))
    assert visits == 2
    assert isinstance(next_one, Sample)


async def test_silence_without_change_is_proven_by_pongs() -> None:
    """With silent_means = "unchanged" the values come again while the far end answers pings."""
    clock = TestClock()
    async with serving(stays) as (_, url), started(make(url, clock, silent_means="unchanged")) as events:
        first = await until_sample(events)
        clock.now_s = 2.0
        again = await until_sample(events)
    assert again.time_s == 2.0
    assert again.values == first.values


async def test_silence_is_told_and_mended() -> None:
    """A server that says nothing more is told, and connected anew."""
    clock = TestClock()
    async with serving(stays) as (_, url), started(make(url, clock, stale_after_s=5.0)) as events:
        await until_sample(events)
        clock.now_s = 5.5
        assert not (await until_told(events, "nothing came for 5 s")).available
        await until_sample(events)


async def test_subprotocol() -> None:
    """The subprotocol is asked for; a server that does not confirm it is told, not refused."""
    knows = serving(stays, subprotocols=["status.v2"])
    async with knows as (_, url), started(make(url, subprotocol="status.v2")) as events:
        assert (await until_told(events, "connected")).reason == f"connected to {url}"
    async with serving(stays) as (_, url), started(make(url, subprotocol="status.v2")) as events:
        assert "did not confirm the subprotocol status.v2" in (await until_told(events, "connected")).reason


async def test_closing_ends_the_connection() -> None:
    """Closing the events closes the connection at once, whatever the server is doing; ticks came until then."""
    ended = asyncio.Event()
    clock = TestClock()

    async def handler(connection: ServerConnection) -> None:
        await connection.send(json.dumps({"t": "all", "d": {"heat": {"now": 205}}}))
        await connection.wait_closed()
        ended.set()

    async with serving(handler) as (_, url):
        async with started(make(url, clock, messages=[FULL_RULE])) as events:
            await until_sample(events)
            clock.now_s = 1.0
            await until(events, lambda e: isinstance(e, Tick))
        async with asyncio.timeout(LONGEST_TEST_S):
            await ended.wait()


async def test_refusal_after_it_worked_is_no_end() -> None:
    """A server that lets us in no more in the middle of the night is told and tried again: the watch goes on."""
    is_open = True

    def check(connection: ServerConnection, _: Request) -> Response | None:
        return None if is_open else connection.respond(HTTPStatus.FORBIDDEN, "no\n")

    end = asyncio.Event()

    async def handler(connection: ServerConnection) -> None:
        await connection.send(full())
        await end.wait()

    async with serving(handler, process_request=check) as (_, url), started(make(url)) as events:
        await until_sample(events)
        is_open = False
        end.set()
        refused = await until_told(events, "does not let us in (HTTP 403)")
        assert not refused.available
        is_open = True
        await until_told(events, "connected to")
        await until_sample(events)


async def test_closing_while_connecting() -> None:
    """A server that takes the connection and never answers does not hold up the end of the watch."""
    reached = asyncio.Event()
    peers: list[asyncio.StreamWriter] = []

    def mute(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        peers.append(writer)
        reached.set()

    async with await asyncio.start_server(mute, "127.0.0.1", 0) as server, asyncio.timeout(LONGEST_TEST_S):
        link = make(f"ws://127.0.0.1:{server.sockets[0].getsockname()[1]}/")
        reading = asyncio.ensure_future(until(link.events(), lambda _: False))
        await reached.wait()
        reading.cancel()
        with pytest.raises(asyncio.CancelledError):
            await reading
        for peer in peers:
            peer.close()


async def test_host_name_that_cannot_be_one() -> None:
    """A label of more than 63 characters (RFC 1035 section 2.3.4) is told like any unknown host, not a traceback."""
    assert "this host name is not known" in await failure(make(f"ws://{'a' * 70}.example/"))
