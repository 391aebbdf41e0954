"""The websocket link against real servers in the same process, on the loopback interface."""

import asyncio
import json
import ssl
import tracemalloc
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import aclosing, asynccontextmanager, suppress
from http import HTTPStatus
from pathlib import Path
from typing import Any

import pytest
import trustme
from websockets.asyncio.server import Server, ServerConnection, serve
from websockets.exceptions import ConnectionClosed
from websockets.http11 import Request, Response

from connectors import websocket_connection
from connectors.errors import LinkFailedError
from connectors.telemetry import Event, LinkChange, Malformed, Sample, Tick
from connectors.websocket_link import STEADY_AFTER_S, WebsocketLink
from tests.websocket_examples import FULL_RULE, NUMBERED, full, part, settings, settle

LONGEST_TEST_S = 15.0
FLOOD = 3000
"""Messages of 2 kB."""
TOKEN = "s3cret-of-this-test"  # noqa: S105 -- invented
Handler = Callable[[ServerConnection], Awaitable[None]]


class TestClock:
    """Seconds that pass only when the test says so."""

    __test__ = False

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        """Return the time."""
        return self.now_s


class Pauses:
    """Stands for the waiting between attempts: it keeps the times, and waits not at all."""

    def __init__(self) -> None:
        self.taken_s: list[float] = []

    async def __call__(self, pause_s: float) -> None:
        """Note the pause; let the others run."""
        self.taken_s.append(pause_s)
        await asyncio.sleep(0)


@asynccontextmanager
async def serving(handler: Handler, port: int = 0, **options: Any) -> AsyncIterator[tuple[Server, str]]:  # noqa: ANN401
    """A server and its address; peers that do not close are dropped soon."""

    async def quiet(connection: ServerConnection) -> None:
        with suppress(ConnectionClosed):
            await handler(connection)

    options = {"compression": None, "close_timeout": 0.2, "ping_interval": None} | options
    async with serve(quiet, "127.0.0.1", port, **options) as server:
        scheme = "ws" if options.get("ssl") is None else "wss"
        yield server, f"{scheme}://localhost:{server.sockets[0].getsockname()[1]}/live"


@asynccontextmanager
async def started(link: WebsocketLink) -> AsyncIterator[AsyncIterator[Event]]:
    """Events of `link`, closed at the end; the whole may take fifteen seconds at most."""
    async with asyncio.timeout(LONGEST_TEST_S), aclosing(link.events()) as events:  # type: ignore[type-var]  # a generator
        yield events


def make(url: str, clock: TestClock | None = None, pauses: Pauses | None = None, **changes: Any) -> WebsocketLink:  # noqa: ANN401
    """A link that looks after itself every ten milliseconds and does not wait between attempts."""
    waits = changes.pop("wait_for_server", False)
    link = WebsocketLink(
        settings(url=url, **changes),
        clock or TestClock(),
        beat_s=0.01,
        pause=pauses or Pauses(),
        wait_for_server=waits,
    )
    settle(link.protocol)
    return link


async def until(events: AsyncIterator[Event], is_it: Callable[[Event], bool]) -> Event:
    """Return the first event for which `is_it` holds."""
    async for event in events:
        if is_it(event):
            return event
    raise AssertionError("the link ended")


async def until_told(events: AsyncIterator[Event], words: str) -> LinkChange:
    """Return the first link change whose reason holds `words`."""
    event = await until(events, lambda e: isinstance(e, LinkChange) and words in e.reason)
    assert isinstance(event, LinkChange)
    return event


async def until_sample(events: AsyncIterator[Event]) -> Sample:
    """Return the next sample."""
    event = await until(events, lambda e: isinstance(e, Sample))
    assert isinstance(event, Sample)
    return event


async def failure(link: WebsocketLink) -> str:
    """Text with which the link fails."""
    async with started(link) as events:
        with pytest.raises(LinkFailedError) as failed:
            await until(events, lambda e: isinstance(e, Sample))
    return str(failed.value)


async def stays(connection: ServerConnection) -> None:
    """Handle a connection: a full status, then wait until it ends."""
    await connection.send(full())
    await connection.wait_closed()


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


def gate(status: HTTPStatus, token: str | None = None, **headers: str) -> Any:  # noqa: ANN401 -- the server's own type
    """Answer of a server that lets only a token in."""

    def check(connection: ServerConnection, request: Request) -> Response | None:
        if token is not None and request.headers.get("Authorization") == f"Bearer {token}":
            return None
        response = connection.respond(status, "no\n")
        for name, value in headers.items():
            response.headers[name] = value
        return response

    return check


def token_file(tmp_path: Path, token: str) -> str:
    """A file that holds a token."""
    path = tmp_path / "token"
    path.write_text(token)
    path.chmod(0o600)
    return str(path)


@pytest.mark.parametrize("status", [HTTPStatus.UNAUTHORIZED, HTTPStatus.FORBIDDEN])
async def test_token(tmp_path: Path, status: HTTPStatus) -> None:
    """The right token opens; a wrong or missing one fails with what to do and without showing it."""
    async with serving(stays, process_request=gate(status, TOKEN)) as (_, url):
        async with started(make(url, token_file=token_file(tmp_path, TOKEN))) as events:
            await until_sample(events)
        wrong = await failure(make(url, token_file=token_file(tmp_path, "wrong-" + TOKEN)))
        missing = await failure(make(url))
    assert f"the server does not let us in (HTTP {status})" in wrong
    assert "is the token in" in wrong
    assert TOKEN not in wrong
    assert "give link.token_file or link.token_env" in missing


async def test_token_that_the_server_repeats(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """A token that comes back from the server shows in no event, no log and no representation."""
    caplog.set_level("DEBUG")

    async def handler(connection: ServerConnection) -> None:
        await connection.send(f"hello {TOKEN}")
        await connection.close(4000, f"bye {TOKEN}")

    async with serving(handler) as (_, url):
        link = make(url, token_file=token_file(tmp_path, TOKEN))
        async with started(link) as events:
            told = await until(events, lambda e: isinstance(e, Malformed))
            lost = await until_told(events, "code 4000")
    assert isinstance(told, Malformed)
    assert told.excerpt == "hello (withheld)"
    assert "said: bye (withheld)" in lost.reason
    assert TOKEN not in repr(link)
    assert TOKEN not in "".join(record.getMessage() for record in caplog.records if "server" not in record.name)


@pytest.mark.parametrize(
    ("status", "words"),
    [
        (HTTPStatus.NOT_FOUND, "no websocket there (HTTP 404): check the path"),
        (HTTPStatus.SERVICE_UNAVAILABLE, "not ready (HTTP 503)"),
    ],
)
async def test_other_answers(status: HTTPStatus, words: str) -> None:
    """An answer that is no websocket fails at the start with what it means."""
    async with serving(stays, process_request=gate(status)) as (_, url):
        assert words in await failure(make(url))


async def test_redirects_are_not_followed(tmp_path: Path) -> None:
    """A redirect could carry the token to another host: it ends the attempt."""
    visits: list[str] = []

    async def other(connection: ServerConnection) -> None:
        visits.append("visited")
        await connection.wait_closed()

    async with serving(other) as (_, elsewhere):
        answer = gate(HTTPStatus.FOUND, Location=elsewhere)
        async with serving(stays, process_request=answer) as (_, url):
            link = make(url, token_file=token_file(tmp_path, TOKEN), auth_header="X-Key")
            assert "put the final address into link.url" in await failure(link)
    assert visits == []


def tls_server(authority: trustme.CA, name: str = "localhost") -> ssl.SSLContext:
    """Certificate of a server, signed by `authority`."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert(name).configure_cert(context)
    return context


async def test_own_authority(tmp_path: Path) -> None:
    """TLS with a certificate of the owner's own authority works; without trust in it, or by another name, it fails."""
    authority, other = trustme.CA(), trustme.CA()
    own, strange = str(tmp_path / "own.pem"), str(tmp_path / "other.pem")
    authority.cert_pem.write_to_path(own)
    other.cert_pem.write_to_path(strange)
    async with serving(stays, ssl=tls_server(authority)) as (_, url):
        async with started(make(url, ca_file=own)) as events:
            await until_sample(events)
        assert "is link.ca_file the authority that signed it?" in await failure(make(url, ca_file=strange))
        assert "give the authority's certificate in link.ca_file" in await failure(make(url, wait_for_server=True))
    async with serving(stays, ssl=tls_server(authority, "elsewhere.example")) as (_, url):
        assert "certificate is not trusted" in await failure(make(url, ca_file=own))


async def test_certificate_that_changes_in_mid_watch(tmp_path: Path) -> None:
    """The server comes back with a certificate of somebody else: told, nothing is taken from it; later its own is."""
    authority, other = trustme.CA(), trustme.CA()
    own = str(tmp_path / "own.pem")
    authority.cert_pem.write_to_path(own)
    visits = 0

    async def stranger(connection: ServerConnection) -> None:
        nonlocal visits
        visits += 1
        await connection.send(full({"heat": {"now": 20.0}}))

    async with serving(stays, ssl=tls_server(authority)) as (server, url):
        port = server.sockets[0].getsockname()[1]
        async with started(make(url, ca_file=own, token_file=token_file(tmp_path, TOKEN))) as events:
            await until_sample(events)
            server.close()
            await server.wait_closed()
            async with serving(stranger, port, ssl=tls_server(other)):
                told = await until_told(events, "certificate is not trusted")
            assert not told.available
            async with serving(stays, port, ssl=tls_server(authority)):
                await until_told(events, "connected to")
                assert (await until_sample(events)).values["temp_c:manifold"] == 210.5
    assert visits == 0


async def test_tls_where_there_is_none() -> None:
    """A wss:// address for a port that speaks plain ws:// is told as such, and something that is no websocket too."""

    async def talks(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"220 good evening\r\n\r\n")
        writer.close()

    async with serving(stays) as (_, url):
        assert "does this port speak wss://, or plain ws://?" in await failure(make(url.replace("ws://", "wss://")))
    async with await asyncio.start_server(talks, "127.0.0.1", 0) as server:
        url = f"ws://127.0.0.1:{server.sockets[0].getsockname()[1]}/"
        assert "not as a websocket" in await failure(make(url))


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
