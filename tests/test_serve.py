"""A running watch served to browsers over real sockets: who is let in, what a page may do; none disturbs it."""

import asyncio
import functools
import logging
import socket
import ssl
import tempfile
from collections.abc import Iterator
from contextlib import AsyncExitStack
from pathlib import Path

import pytest
import trustme

from connectors.recording import Conclusion, read_recording
from connectors.telemetry import Event, LinkChange, Tick
from monitor.attach.server import AttachServer
from monitor.config import demo_profile
from monitor.core.alert_types import AlertState
from monitor.core.engine import Engine
from monitor.recording.start import start_recording
from monitor.serve import server as serve_server
from monitor.serve import tab as serve_tab
from monitor.serve.address import Listening
from monitor.serve.choice import Choice
from monitor.serve.looking import ONLY_LOOKS, LookingClient
from monitor.serve.server import MOST_CONNECTIONS, MOST_TABS, ScreenServer
from monitor.session import Session
from tests.attach_examples import HeldNight, session_of, until
from tests.notify_examples import free_port
from tests.serve_examples import TOKEN, Served, asked, descriptors, hand_page, no_machine, request, served, upgraded
from tests.watch_examples import ListedLink, sample

pytestmark = pytest.mark.usefixtures("no_machine")
__all__ = ["no_machine"]


@pytest.fixture
def place() -> Iterator[Path]:
    """A directory whose sockets have short enough paths whatever the test is called."""
    with tempfile.TemporaryDirectory(prefix="sw-") as directory:
        yield Path(directory) / "attach"


def night_until(time_s: float) -> tuple[HeldNight, Session]:
    """A night that stands still from a time on."""
    held = HeldNight()
    session = session_of(held)
    held.is_enough = lambda: session.time_s > time_s
    return held, session


def alerted() -> Session:
    """A watch whose link is lost, so that an alert calls after a minute; then nothing more happens."""
    lost = LinkChange(2.0, available=False, reason="cable pulled")
    events: list[Event] = [LinkChange(0.0, available=True, reason="opened"), sample(1.0), lost]
    events += [Tick(float(time_s)) for time_s in range(3, 120)]
    hold = asyncio.Event()
    return Session(ListedLink(events, hold=hold.wait), Engine(demo_profile().parameters), name="test")


async def test_a_page_sees_the_watch_and_turns_its_pages(place: Path) -> None:
    """The overview's words come by themselves; a key changes what is seen; a new size is drawn anew."""
    _, session = night_until(600.0)
    async with served(session, place) as watch, hand_page(watch) as page:
        await page.until("hot path")
        assert page.told["size"] == [80, 24]
        assert "simulated machine" in page.text
        page.press("?")
        await page.until("cautions")
        page.press("?")
        await page.until("hot path")
        page.size(52, 40)
        await page.until_told("size", [52, 40])
        await page.until("hot path")
        assert (watch.server.tabs, session.fault) == (1, None)
    assert watch.server.tabs == 0


async def test_who_lacks_token_pass_host_or_origin_is_refused(place: Path) -> None:
    """The whole matrix over a real connection; none of it shows anything of the machine or reaches the watch."""
    _, session = night_until(60.0)
    async with served(session, place) as watch:
        own, live = watch.headers(), TOKEN.path + "live"
        told = {
            "no token": await asked(watch.port, "/", {"Host": own["Host"]}),
            "wrong token": await asked(watch.port, "/?token=wrong", {"Host": own["Host"]}),
            "no pass": await asked(watch.port, TOKEN.path + "screen.js", {"Host": own["Host"]}),
            "wrong host": await asked(watch.port, f"/?token={TOKEN.text}", {"Host": "evil.example"}),
            "no host": await asked(watch.port, f"/?token={TOKEN.text}", {}),
            "foreign origin": await upgraded(watch, live, watch.headers(Origin="http://evil.example")),
            "no origin": await upgraded(watch, live, watch.headers(Origin=None)),
            "no cookie": await upgraded(watch, live, watch.headers(Cookie=None)),
            "other port": await upgraded(watch, live, watch.headers(Host=f"127.0.0.1:{watch.port + 1}")),
            "post": await asked(watch.port, TOKEN.path, own, "POST"),
        }
        assert {name: answer.status for name, answer in told.items()} == {
            "no token": 401, "wrong token": 401, "no pass": 401, "wrong host": 403, "no host": 403,
            "foreign origin": 403, "no origin": 403, "no cookie": 401, "other port": 403, "post": 405,
        }  # fmt: skip
        assert not [answer for answer in told.values() if b"bench" in answer.body or "Set-Cookie" in answer.headers]
        assert all("Content-Security-Policy" in answer.headers for answer in told.values())
        assert all("Server" not in answer.headers for answer in told.values())
        assert watch.server.tabs == watch.attached.attached == 0


async def test_the_token_opens_the_page_and_shows_in_nothing_that_is_sent_back(place: Path) -> None:
    """From the address with the token over the redirect to the page's own parts."""
    _, session = night_until(60.0)
    async with served(session, place) as watch:
        let_in = await asked(watch.port, f"/?token={TOKEN.text}", {"Host": watch.headers()["Host"]})
        assert (let_in.status, let_in.headers["Location"]) == (303, TOKEN.path)
        cookie = let_in.headers["Set-Cookie"].split(";")[0]
        parts = [
            await asked(watch.port, TOKEN.path + name, {"Host": watch.headers()["Host"], "Cookie": cookie})
            for name in ("", "screen.js", "screen.css", "icon.svg", "live", "other")
        ]
        assert [part.status for part in parts] == [200, 200, 200, 200, 426, 404]
        assert not [part for part in (let_in, *parts) if TOKEN.text in f"{part.headers}{part.body.decode()}"]


async def test_a_page_that_may_only_look_asks_for_nothing_and_is_told_so(place: Path) -> None:
    """Whatever key is pressed, and even should the page's own guard fail: nothing reaches the watch."""
    session = alerted()
    async with served(session, place) as watch, hand_page(watch) as page:
        await page.until("Unacknowledged")
        for key in "ksor":
            page.press(key)
        await page.until_told("note", ONLY_LOOKS)
        (tab,) = watch.server._tabs
        assert ONLY_LOOKS not in page.text  # the watch itself is in no trouble
        assert isinstance(tab._client, LookingClient)
        asked: list[bool] = []
        tab._client.refuse = lambda: asked.append(True)  # type: ignore[method-assign]  # to count
        tab._may_ask = True  # what the page is offered; the client still passes nothing on
        page.press("k")
        await until(lambda: bool(asked))
        assert session.latest is not None
        assert session.latest.alerts[0].state is AlertState.UNACKNOWLEDGED
        assert not session.latest.held_back


async def test_a_page_that_may_ask_is_recorded_with_its_address(place: Path, tmp_path: Path) -> None:
    """Seen by somebody at a browser: the recording says so, and from where; the token is nowhere in it."""
    session = alerted()
    recording = tmp_path / "night.jsonl"
    start_recording(session, demo_profile(), recording)
    async with served(session, place, may_ask=True) as watch, hand_page(watch) as page:
        await page.until("Unacknowledged")
        page.press("k")
        await until(lambda: session.latest is not None and session.latest.alerts[0].state is AlertState.ACKNOWLEDGED)
        assert TOKEN.text not in session.notice
    told = [line for line in read_recording(recording).items() if isinstance(line, Conclusion)]
    assert [line.data["actor"] for line in told if line.kind == "acknowledge"] == ["owner at browser 127.0.0.1"]
    assert TOKEN.text not in recording.read_text(encoding="utf-8")
    assert TOKEN.pass_text not in recording.read_text(encoding="utf-8")


async def test_the_end_of_the_watch_is_the_last_thing_that_a_page_shows(place: Path) -> None:
    """With its reason; then the page is told that there is no watch, and the port is free."""
    night, session = night_until(60.0)
    async with served(session, place) as watch, hand_page(watch) as page:
        await page.until("hot path")
        night.release.set()
        assert await page.until_closed() == (serve_tab.GONE, "the watch has ended")
        assert "ENDED" in page.text
        assert "the link ended" in page.text
        assert page.told["title"] == "ENDED strandwatch"
        await until(lambda: watch.server._server is None)
    socket.create_server(("127.0.0.1", watch.port)).close()


@pytest.mark.parametrize(("said", "code"), [
    ("x" * 201, 1009), ("garbage", 1008), (b"\x00\xff", 1008), ('{"say":"key","key":"\\u001b"}', 1008),
    ('{"say":"key","key":"k","then":"G28"}', 1008),
])  # fmt: skip
async def test_what_no_page_says_ends_that_page_alone(place: Path, said: str | bytes, code: int) -> None:
    """Too long, no message, no key (RFC 6455, section 7.4.1, for the codes); the other page and the watch go on."""
    _, session = night_until(60.0)
    async with served(session, place) as watch, hand_page(watch) as other, hand_page(watch) as page:
        await other.until("hot path")
        await page.until("hot path")
        page.say(said)
        assert (await page.until_closed())[0] == code
        other.press("?")
        await other.until("cautions")
        assert session.fault is None


async def test_no_more_pages_than_can_be_borne_and_a_place_is_free_again(place: Path) -> None:
    """Beyond a bound a page is told so in words, and is let in when another has gone."""
    _, session = night_until(60.0)
    async with served(session, place) as watch, AsyncExitStack() as stack:
        pages = [await stack.enter_async_context(hand_page(watch)) for _ in range(MOST_TABS)]
        for page in pages:
            await page.until("hot path")
        async with hand_page(watch) as late:
            assert await late.until_closed() == (1013, f"{MOST_TABS} pages show this watch already: close one of them")
        pages[0].writer.transport.abort()
        await until(lambda: watch.server.tabs == MOST_TABS - 1)
        async with hand_page(watch) as again:
            await again.until("hot path")


async def test_a_page_that_reads_nothing_costs_little_and_is_let_go(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What waits for it is bounded while it floods us with sizes; then it is dropped, and others see all."""
    monkeypatch.setattr(serve_tab, "UNREAD_S", 0.5)
    monkeypatch.setattr(serve_tab, "BETWEEN_MESSAGES_S", 0.0)
    _, session = night_until(60.0)
    async with served(session, place) as watch, hand_page(watch) as stopped, hand_page(watch) as other:
        await other.until("hot path")
        await stopped.until("hot path")
        (connection,) = (
            each for each in watch.server._connected if each.remote_address == stopped.writer.get_extra_info("sockname")
        )
        sending: socket.socket = connection.transport.get_extra_info("socket")
        sending.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 4096)
        stopped.writer.transport.pause_reading()  # type: ignore[attr-defined]  # a stream's transport can
        most = 0

        def is_dropped() -> bool:
            nonlocal most
            for rows in (149, 150):
                stopped.size(300, rows)
            most = max(most, connection.transport.get_write_buffer_size())
            return watch.server.tabs == 1

        await until(is_dropped)
        assert 0 < most < 32_768 + 65_536  # the library's bound, and one whole frame of that size
        other.press("?")
        await other.until("cautions")


async def test_a_page_that_answers_no_question_is_dropped(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A telephone that lost its network says nothing any more: it is asked, and let go."""
    monkeypatch.setattr(serve_server, "PING_S", 0.2)
    _, session = night_until(60.0)
    async with served(session, place) as watch, hand_page(watch) as page:
        await page.until("hot path")
        await until(lambda: watch.server.tabs == 0)  # meanwhile it reads nothing, so it answers nothing


async def test_a_page_that_does_not_tell_its_size_is_sent_away(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is drawn for it."""
    monkeypatch.setattr(serve_tab, "FIRST_S", 0.1)
    _, session = night_until(60.0)
    async with served(session, place) as watch, hand_page(watch, sized=False) as page:
        assert await page.until_closed() == (1008, "it did not tell its size")
        assert page.shown == {}


async def test_a_page_that_floods_the_watch_waits_for_itself(place: Path) -> None:
    """A thousand keys at once are taken a few at a time; another page and the watch do not notice."""
    _, session = night_until(60.0)
    async with served(session, place) as watch, hand_page(watch) as flooding, hand_page(watch) as other:
        await flooding.until("hot path")
        pressed: list[str] = []
        (tab,) = (
            each
            for each in watch.server._tabs
            if each._connection.remote_address == flooding.writer.get_extra_info("sockname")
        )
        tab._desk.press = pressed.append  # type: ignore[method-assign, assignment]  # to count
        begin_s = asyncio.get_running_loop().time()
        for _ in range(1000):
            flooding.press("a")
        await other.until("hot path")
        await until(lambda: len(pressed) >= 5)
        assert len(pressed) <= 1 + (asyncio.get_running_loop().time() - begin_s) / serve_tab.BETWEEN_MESSAGES_S


async def test_connections_that_say_nothing_are_few_and_short(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Half a request, or none, is cut off after a while; more at a time than a bound are cut off unheard."""
    monkeypatch.setattr(serve_server, "REQUEST_S", 0.5)
    _, session = night_until(60.0)
    async with served(session, place) as watch, AsyncExitStack() as stack:
        before = descriptors()
        for said in (b"", b"GET / HT", b"\x16\x03\x01\x02", request("/", {"Host": "x" * 9000})):
            for _ in range(MOST_CONNECTIONS // 2):
                _, writer = await asyncio.open_connection("127.0.0.1", watch.port)
                stack.push_async_callback(_cut, writer)
                writer.write(said)
        await until(lambda: 0 < len(watch.server._connected) <= MOST_CONNECTIONS)
        await until(lambda: not watch.server._connected)
        await stack.aclose()
        await until(lambda: descriptors() <= before)
        async with hand_page(watch) as page:
            await page.until("hot path")


async def _cut(writer: asyncio.StreamWriter) -> None:
    writer.transport.abort()


async def test_a_port_that_is_taken_is_told_and_tried_again(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The watch goes on without browsers, says why, and serves them when the port is free."""
    monkeypatch.setattr(serve_server, "TEND_S", 0.1)
    _, session = night_until(60.0)
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        monkeypatch.setattr("tests.serve_examples.free_port", lambda: port)
        async with served(session, place) as watch:
            assert f"no browser can look on: 127.0.0.1 port {port} cannot be listened at" in session.notice
            assert TOKEN.text not in session.notice
            assert session.ended is None
            taken.close()
            await until(lambda: session.notice == "")
            async with hand_page(watch) as page:
                await page.until("hot path")


async def test_a_fault_of_a_screen_is_told_and_ends_nothing_else(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A page for which drawing fails is told so; the watch goes on, and says it."""
    _, session = night_until(60.0)
    async with served(session, place) as watch, hand_page(watch) as page:
        await page.until("hot path")
        (tab,) = watch.server._tabs
        monkeypatch.setattr(tab._desk, "lines", lambda *_: 1 / 0)
        assert (await page.until_closed())[0] == 1011
        assert "a browser's screen failed" in (session.fault or "")
        assert session.ended is None
        monkeypatch.setattr(serve_server, "decide", lambda *_: 1 / 0)
        assert (await asked(watch.port, "/", {"Host": "x"})).status == 500
        monkeypatch.undo()


async def test_hostile_words_of_the_machine_stand_on_the_page_as_letters(place: Path) -> None:
    """Markup and control characters in a notice come as text in JSON, without any control character."""
    _, session = night_until(60.0)
    async with served(session, place) as watch, hand_page(watch) as page:
        await page.until("hot path")
        session.take_fault("the <script>alert(1)</script>\x1b[2J", ValueError("\x07&amp;"))
        await page.until("<script>")
        assert not [sign for sign in page.text.replace("\n", "") if sign < " " or "\x7f" <= sign <= "\x9f"]


async def test_the_token_is_in_no_log(place: Path, caplog: pytest.LogCaptureFixture) -> None:
    """Not even where everything is logged: what the library would write of requests goes nowhere."""
    _, session = night_until(60.0)
    with caplog.at_level(logging.DEBUG):
        async with served(session, place) as watch:
            await asked(watch.port, f"/?token={TOKEN.text}", {"Host": watch.headers()["Host"]})
            await asked(watch.port, f"/?token={TOKEN.text}", {"Host": "evil.example"})
            async with hand_page(watch) as page:
                await page.until("hot path")
                page.say("garbage")
                await page.until_closed()
    assert TOKEN.text not in caplog.text
    assert TOKEN.pass_text not in caplog.text


async def test_by_tls_the_pass_is_kept_off_plain_http(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With a certificate of its own: the page's origin is https, plain http gets nothing, and the cookie is Secure."""
    authority, theirs = trustme.CA(), ssl.create_default_context()
    own = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    authority.issue_cert("127.0.0.1").configure_cert(own)
    authority.configure_trust(theirs)
    _, session = night_until(60.0)
    async with served(session, place, tls=own) as watch:
        host = {"Host": f"127.0.0.1:{watch.port}"}
        plain = await asyncio.open_connection("127.0.0.1", watch.port)
        plain[1].write(request(f"/?token={TOKEN.text}", host))
        assert not (await plain[0].read()).startswith(b"HTTP")
        plain[1].close()
        connect = functools.partial(asyncio.open_connection, ssl=theirs)
        monkeypatch.setattr(asyncio, "open_connection", connect)
        let_in = await asked(watch.port, f"/?token={TOKEN.text}", host)
        assert (let_in.status, let_in.headers["Set-Cookie"].endswith("SameSite=Strict; Secure")) == (303, True)
        assert (await upgraded(watch, TOKEN.path + "live", watch.headers())).status == 403  # an Origin of http
        page = await asked(watch.port, TOKEN.path, {**host, "Cookie": watch.headers()["Cookie"]})
        assert f"connect-src 'self' wss://{host['Host']};" in page.headers["Content-Security-Policy"]


async def test_without_a_watch_a_page_is_told_so(place: Path) -> None:
    """A serving process whose watch is gone says it, and goes on listening for the next one."""
    faults: list[Exception] = []
    choice = Choice(Listening("127.0.0.1", free_port()), TOKEN)
    found: list[Path | None] = [None, place / "gone.sock"]
    server = ScreenServer(choice, lambda: found.pop(0), lambda _, error: faults.append(error))
    await server.open()
    try:
        watch = Served(server, choice, AttachServer(session_of(HeldNight()), "x"))
        told = []
        for _ in range(2):
            async with hand_page(watch) as page:
                told.append(await page.until_closed())
    finally:
        await server.close()
    assert [code for code, _ in told] == [serve_tab.GONE, serve_tab.GONE]
    assert [reason[:20] for _, reason in told] == ["no watch is running", "no watch can be reac"]
    assert faults == []
