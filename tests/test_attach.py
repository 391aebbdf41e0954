"""Screens attached to a running watch over a real socket: what they see and may ask, and that none disturbs it."""

import asyncio
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import AsyncExitStack
from pathlib import Path
from typing import Any

import pytest

from connectors.recording import Conclusion, read_recording
from connectors.telemetry import LinkChange, Tick
from monitor.attach import client as attached_client
from monitor.attach import place as attach_place
from monitor.attach import screen as attach_screen
from monitor.attach.client import AttachedClient, AttachError
from monitor.attach.server import MOST_SCREENS, AttachServer
from monitor.attach.wire import Ask, Bye, Hello, News, Refused, framed, hello
from monitor.client import WatchClient
from monitor.config import demo_profile
from monitor.core.alert_types import AlertState, RequestKind
from monitor.recording.start import start_recording
from monitor.session import Session
from tests.attach_examples import (
    SESSIONS,
    HeldNight,
    alerted,
    attached,
    offered,
    raw,
    same,
    session_of,
    short_directory,
    two_hours,
    until,
)
from tests.watch_examples import ListedLink, ScriptedEngine, sample


@pytest.fixture
def place() -> Iterator[Path]:
    """A directory whose sockets have short enough paths whatever the test is called."""
    yield from short_directory()


@pytest.fixture
def night() -> HeldNight:
    """Two hours of the night, then silence."""
    return two_hours()


async def test_an_attached_screen_sees_what_the_watch_knows(place: Path, night: HeldNight) -> None:
    """The newest assessment, where the data come from, and the notices arrive unchanged."""
    session = SESSIONS[night]
    async with offered(session, place) as server, attached(server) as client:
        seen: WatchClient = client
        await night.held.wait()
        assert session.latest is not None
        await until(lambda: seen.latest is not None and seen.latest.time_s == session.time_s)
        same(session.latest, seen.latest)
        assert (seen.source, seen.ended) == ("simulated machine", None)
        session.take_fault("the test", ValueError("x"))
        await until(lambda: seen.notice == session.notice)


async def test_the_end_is_told_with_its_reason(place: Path, night: HeldNight) -> None:
    """When the watch ends, every screen says why, and the socket is gone."""
    session = SESSIONS[night]
    async with offered(session, place) as server, attached(server) as one, attached(server, "pts/8") as two:
        path = server.path
        await night.held.wait()
        night.release.set()
        await until(lambda: one.ended is not None and two.ended is not None)
        assert one.ended == two.ended == "the link ended"
        assert one.latest is not None
        assert one.latest.time_s == session.time_s
    assert path is not None
    assert not path.exists()


async def test_a_request_is_carried_out_and_recorded_with_who_and_when(place: Path, tmp_path: Path) -> None:
    """What a screen asks reaches the alerts as from the screen in the watch itself, but with the screen's terminal."""
    night, session = await alerted()
    recording = tmp_path / "night.jsonl"
    start_recording(session, demo_profile(), recording)
    async with offered(session, place) as server, attached(server, "pts/7") as client:
        await night.held.wait()
        await until(lambda: client.latest is not None and bool(client.latest.alerts))
        assert client.latest is not None
        alert = client.latest.alerts[0]
        client.ask(RequestKind.ACKNOWLEDGE, alert.id)
        await until(lambda: session.latest is not None and session.latest.alerts[0].state is AlertState.ACKNOWLEDGED)
        client.ask(RequestKind.SHELVE, alert.id, reason="I stand\x1b[2J beside it", for_s=600.0)
        await until(lambda: client.latest is not None and bool(client.latest.held_back))
        assert client.latest.held_back[0].why_held_back == "I stand␛[2J beside it"
        asked_s = session.time_s
    told = [line for line in read_recording(recording).items() if isinstance(line, Conclusion)]
    asked = [line for line in told if line.kind in {"acknowledge", "request"}]
    assert [(line.kind, line.time_s, line.data["actor"]) for line in asked] == [
        ("acknowledge", asked_s, "owner at pts/7"),
        ("request", asked_s, "owner at pts/7"),
    ]
    changes = [line.data["actor"] for line in told if line.kind == "alert" and line.data["event"] == "acknowledged"]
    assert changes == ["owner at pts/7"]


async def test_a_terminal_that_is_none_is_recorded_as_a_process(place: Path, night: HeldNight) -> None:
    """Who asks is told by the kernel where the screen's own word is not fit to be recorded."""
    told = {}
    async with offered(SESSIONS[night], place) as server:
        for terminal in ("pts/7", "tty1", "", "pts/\x1b[31m", "x" * 33, "..", "engine at pts 3", "/dev/pts/1"):
            async with attached(server, terminal):
                await until(lambda: server.attached == 1)
                told[terminal] = next(iter(server._shown)).actor
            await until(lambda: server.attached == 0)
    unfit = f"owner at process {os.getpid()}"
    assert told == {**dict.fromkeys(told, unfit), "pts/7": "owner at pts/7", "tty1": "owner at tty1"}


async def test_requests_that_make_no_sense_are_refused_and_told(place: Path) -> None:
    """An alert that is not there, or no reason: the screen is told why, and nothing of it is recorded."""
    night, session = await alerted()
    async with offered(session, place) as server, attached(server) as client:
        await night.held.wait()
        await until(lambda: client.latest is not None)
        client.ask(RequestKind.ACKNOWLEDGE, "invented")
        await until(lambda: "there is no such alert any more" in client.notice)
        with pytest.raises(ValueError, match="reason is empty"):
            client.ask(RequestKind.SHELVE, "a", for_s=60.0)
        assert client.latest is not None
        async with raw(server.path) as other:
            other.greet()
            other.say(Ask(RequestKind.SHELVE, client.latest.alerts[0].id, " ", 60.0))
            other.say(Ask(RequestKind.SHELVE, client.latest.alerts[0].id, "why not", 0.0))
            await asyncio.sleep(0.3)
            other.writer.write_eof()
            refused = [message.text for message in await other.heard() if isinstance(message, Refused)]
        assert [text.split()[0] for text in refused] == ["reason", "for_s"]
        assert session.latest is not None
        assert not session.latest.held_back


async def test_nothing_is_computed_while_nobody_is_attached_and_once_for_all_then(place: Path) -> None:
    """Assessments are costly: none is read for no screen, and three screens cost as much as one."""
    engine = ScriptedEngine()
    hold = asyncio.Event()
    link = ListedLink([LinkChange(0.0, available=True, reason="opened"), sample(1.0)], hold=hold.wait)
    session = Session(link, engine, name="test")
    async with offered(session, place, hz=20.0) as server:
        await until(lambda: len(engine.steps) == 2)
        await asyncio.sleep(0.2)
        assert sum(step.reads for step in engine.steps) == 0
        async with attached(server) as one, attached(server) as two, attached(server) as three:
            await until(lambda: None not in {one.latest, two.latest, three.latest})
            begin, begin_s = engine.steps[-1].reads, asyncio.get_running_loop().time()
            await asyncio.sleep(0.5)
            beats = (asyncio.get_running_loop().time() - begin_s) * 20.0
            assert 1 <= engine.steps[-1].reads - begin <= beats + 1
        await until(lambda: server.attached == 0)
        reads = engine.steps[-1].reads
        await asyncio.sleep(0.2)
        assert engine.steps[-1].reads <= reads + 1


async def test_a_screen_that_was_let_go_comes_back(place: Path, night: HeldNight) -> None:
    """A screen that was stopped for long, as by Ctrl-Z, finds its watch again without being told to."""
    session = SESSIONS[night]
    async with offered(session, place) as server, attached(server) as client:
        await until(lambda: server.attached == 1)
        next(iter(server._connected)).drop()
        await until(lambda: server.attached == 0)
        assert client.ended is None
        await until(lambda: server.attached == 1 and "lost" not in client.notice)
        await until(lambda: client.latest is not None and client.latest.time_s == session.time_s)


@pytest.mark.parametrize(("said", "told"), [
    (b"GET / HTTP/1.1\r\n\r\n", "a message of 1195725856 bytes; allowed: up to 4096"),
    (b"x" * 1_000_000 + b"\n", "a message of"),
    (b"\x00\x00\x00\x05hello", "not understood"),
    (b"\x00\x00\x00\x00", "not understood"),
    (framed(Ask(RequestKind.ACKNOWLEDGE, "a")), "says first who it is"),
    (framed(Bye("I am the watch")), "not understood"),
    (b"\x00\x00\x00\x20half", "said nothing for too long"),
    (b"\x00\x00", "said nothing for too long"),
    (b"", "said nothing for too long"),
])  # fmt: skip
async def test_what_is_no_screen_is_sent_away_with_a_word(
    place: Path, night: HeldNight, monkeypatch: pytest.MonkeyPatch, said: bytes, told: str
) -> None:
    """Garbage, a message too long, half a message and silence end that connection, told why, and nothing else."""
    session = SESSIONS[night]
    async with offered(session, place) as server, attached(server) as client:
        await until(lambda: server.attached == 1)  # it has spoken in time, however busy the machine is
        monkeypatch.setattr(attach_screen, "PATIENCE_S", 0.1)
        async with raw(server.path) as other:
            other.say(said)
            heard = await other.heard()
        bye = heard[-1]
        assert isinstance(bye, Bye)
        assert told in bye.text
        await night.held.wait()
        await until(lambda: client.latest is not None and client.latest.time_s == session.time_s)
        assert (session.fault, client.ended) == (None, None)


async def test_half_a_request_and_silence_is_sent_away_too(
    place: Path, night: HeldNight, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A screen that was welcome may be silent for ever, but not in the middle of a message."""
    monkeypatch.setattr(attach_screen, "PATIENCE_S", 0.1)
    async with offered(SESSIONS[night], place) as server, raw(server.path) as other:
        other.greet()
        await asyncio.sleep(0.3)
        assert server.attached == 1
        other.say(framed(Ask(RequestKind.ACKNOWLEDGE, "a"))[:9])
        heard = await other.heard()
        assert isinstance(heard[0], Hello)
        assert heard[-1] == Bye("it said nothing for too long")


async def test_a_flood_of_requests_waits_for_itself(place: Path, night: HeldNight) -> None:
    """Ten thousand requests at once do not hold up the watch: it takes a few of them and lets the rest wait."""
    session = SESSIONS[night]
    taken: list[str] = []
    session.ask = lambda _kind, alert_id, **_more: taken.append(alert_id)  # type: ignore[method-assign]  # to count
    async with offered(session, place) as server, attached(server) as client, raw(server.path) as other:
        await night.held.wait()
        begin_s = asyncio.get_running_loop().time()
        other.greet()
        other.say(framed(Ask(RequestKind.ACKNOWLEDGE, "invented")) * 10_000)
        for screen in server._connected:
            screen._check = lambda alert_id: None  # type: ignore[method-assign]  # noqa: ARG005 -- as if there were such an alert
        await until(lambda: len(taken) >= 5)
        assert len(taken) <= 1 + (asyncio.get_running_loop().time() - begin_s) / attach_screen.BETWEEN_REQUESTS_S
        await until(lambda: client.latest is not None and client.latest.time_s == session.time_s)


async def test_no_more_screens_than_it_can_bear(place: Path, night: HeldNight) -> None:
    """Beyond a bound a screen is told that there are enough."""
    async with offered(SESSIONS[night], place) as server:
        async with AsyncExitStack() as stack:
            for _ in range(MOST_SCREENS):
                await stack.enter_async_context(attached(server))
            await until(lambda: server.attached == MOST_SCREENS)
            late = await stack.enter_async_context(attached(server))
            await until(lambda: late.ended is not None)
            assert "32 screens are attached already" in (late.ended or "")
        await until(lambda: server.attached == 0)


KILLED = """
import socket, sys
line = socket.socket(socket.AF_UNIX)
line.connect(sys.argv[1])
line.sendall(bytes.fromhex(sys.argv[2]))
heard = 0
while heard < 5000:
    heard += len(line.recv(65536))
print("attached", flush=True)
while True:
    line.recv(65536)
"""


async def test_a_hundred_screens_that_are_killed_leave_no_trace(place: Path) -> None:
    """Attached and killed one after the other, none of them is missed; the watch and another screen go on."""
    night = HeldNight(rest_s=0.01)
    session = session_of(night)
    async with offered(session, place) as server, attached(server) as client:
        await until(lambda: client.latest is not None)
        before = len(os.listdir("/proc/self/fd"))  # noqa: PTH208 -- names are enough
        for _ in range(10):
            await asyncio.gather(*(_attached_and_killed(server) for _ in range(10)))
        await until(lambda: server.attached == 1)
        assert len(server._connected) == 1
        assert len(os.listdir("/proc/self/fd")) <= before  # noqa: PTH208
        assert client.latest is not None
        at_s = client.latest.time_s
        await until(lambda: client.latest is not None and client.latest.time_s > at_s)
        assert session.fault is None


async def _attached_and_killed(server: AttachServer) -> None:
    screen = await asyncio.create_subprocess_exec(
        sys.executable, "-S", "-c", KILLED, str(server.path), framed(hello(1)).hex(), stdout=subprocess.PIPE
    )
    assert screen.stdout is not None
    assert await screen.stdout.readline() == b"attached\n"
    screen.send_signal(signal.SIGKILL)
    await screen.wait()


async def test_another_version_is_told_by_both_sides_with_both_versions(place: Path, night: HeldNight) -> None:
    """Neither guesses at what the other means."""
    async with offered(SESSIONS[night], place) as server, raw(server.path) as other:
        other.greet(version="0.0.9", layout="00000000")
        heard = await other.heard()
        bye = heard[-1]
        assert isinstance(bye, Bye)
        assert f"the watch runs strandwatch {hello(1).version} (" in bye.text
        assert "this screen is of strandwatch 0.0.9 (protocol 1, layout 00000000)" in bye.text
    path = place / "old-1.sock"
    with pytest.raises(AttachError, match=r"the watch runs strandwatch 0\.0\.1 \(protocol 0, layout old\)"):
        await _connected_to(path, framed(Hello(0, "0.0.1", "old", 5)))


async def _connected_to(path: Path, said: bytes | None) -> None:
    """Try to attach to something that says this, or hangs up for None."""
    gone: list[asyncio.Task[Any]] = []

    async def stranger(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        gone.extend(filter(None, [asyncio.current_task()]))
        if said is not None:
            writer.write(said)
            await reader.read()
        writer.close()

    async with await asyncio.start_unix_server(stranger, str(path)):
        try:
            await AttachedClient(path).connect()
        finally:
            await until(lambda: bool(gone))
            await asyncio.wait(gone)


@pytest.mark.parametrize(("said", "told"), [
    (b"\xff" * 9, "speaks in a way that is a message of"),
    (b"\x00\x00\x00\x01\xc0", "not understood"),
    (b"", "does not answer"),
    (None, "hung up"),
])  # fmt: skip
async def test_what_is_no_watch_is_told(
    place: Path, monkeypatch: pytest.MonkeyPatch, said: bytes | None, told: str
) -> None:
    """A screen that finds something else behind a socket, or a watch that hangs, says so and waits for nothing."""
    monkeypatch.setattr(attached_client, "ANSWER_S", 0.2)
    with pytest.raises(AttachError, match=told):
        await _connected_to(place.parent / "s.sock", said)


async def test_what_cannot_be_sent_ends_the_screens_and_not_the_watch(place: Path, night: HeldNight) -> None:
    """A fault of ours in what screens are told is told, and recorded; the night goes on."""
    session = SESSIONS[night]

    class Odd(Session):
        """A watch that knows something that has no place on the wire."""

        @property
        def latest(self) -> Any:  # noqa: ANN401 -- wrong on purpose
            return object()

    session.__class__ = Odd
    async with offered(session, place) as server, raw(server.path) as other:
        other.greet()
        heard = await other.heard()
        assert heard[-1] == Bye("strandwatch itself failed; the watch goes on")
        assert session.fault is not None
        await night.held.wait()


async def test_nothing_remains_of_a_watch_that_never_began(place: Path) -> None:
    """A session that is stopped before it runs offers nothing."""
    session = Session(ListedLink([Tick(0.0)]), ScriptedEngine(), name="test")
    server = AttachServer(session, "the bench", where=[place])
    session.serve_with(server)
    session.stop("too early")
    await session.run()
    assert attach_place.sockets([place]) == []
    assert server.path is None


async def test_news_are_not_sent_twice(place: Path, night: HeldNight) -> None:
    """While nothing changes nothing is sent, so that a slow line stays free."""
    async with offered(SESSIONS[night], place) as server:
        await night.held.wait()
        async with raw(server.path) as other:
            other.greet()
            await asyncio.sleep(0.3)
            other.writer.write_eof()
            assert [type(message) for message in await other.heard()] == [Hello, News]
