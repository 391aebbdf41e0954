"""The read-only promise: what is gathered in the whole run is held against the allow-list at its end (`conftest`).

These tests show that the gathering sees what it is to see, and that a byte of another kind would be found.
"""

import asyncio
import errno
import fcntl
import io
import os
import subprocess
import sys
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest
from websockets.asyncio.client import connect
from websockets.asyncio.server import ServerConnection, serve

from connectors.serial_queries import Query
from tests.bytes_sent import LEDGER_VARIABLE, QUERIES, Ledger, Sent, _plain, gather, told
from tests.test_serial_link import PtyDevice, make, started, until_told
from tests.websocket_examples import full
from tests.websocket_server import make as make_websocket
from tests.websocket_server import serving, stays, until_sample
from tests.websocket_server import started as started_websocket

CHILDREN = Path(__file__).parent / "in_every_child"


@pytest.fixture
def device(tmp_path: Path) -> Iterator[PtyDevice]:
    """Return a plugged-in device."""
    plugged = PtyDevice(tmp_path / "port")
    plugged.plug()
    yield plugged
    plugged.unplug()


@pytest.fixture
def ledger() -> Iterator[Ledger]:
    """Return a ledger of this test alone; meanwhile the run's own hears nothing."""
    mine = Ledger()
    with pytest.MonkeyPatch.context() as patch:
        gather(mine, patch)
        yield mine


async def test_a_query_is_seen_below_the_serial_library(device: PtyDevice, ledger: Ledger) -> None:
    """What an asking link sends shows in the ledger as it reaches the device, and is on the list."""
    came = asyncio.Event()
    asyncio.get_running_loop().add_reader(device.master, came.set)
    async with started(make(device, mode="ask")) as events:
        await until_told(events, "opened at")
        await came.wait()
        asyncio.get_running_loop().remove_reader(device.master)
        heard = device.heard()
    assert heard == Query.TEMPERATURES.value
    assert {each.data for each in ledger.sent} == {heard}
    assert ledger.faults() == []


@pytest.mark.parametrize("data", [b"M104 S0\n", b"M105", b"M105\nM112\n", b"\x00", b"m105\n"])
def test_any_other_byte_on_a_line_is_a_fault(data: bytes) -> None:
    """Commands, halves, two queries at once, and even a query in small letters are not on the list."""
    ledger = Ledger([Sent("serial", "136:0", data), Sent("serial", "136:0", b"M105\n")])
    assert ledger.faults() == ledger.sent[:1]
    assert "NOT ON THE ALLOW-LIST" in "\n".join(told(ledger))


def test_a_write_that_goes_past_every_link_is_seen() -> None:
    """Bytes written straight to a port's descriptor are gathered: the collector does not trust our own code."""
    mine = Ledger()
    master, slave = os.openpty()
    tty.setraw(slave)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "write", lambda _descriptor, data: len(data))  # the run's own ledger is not to hear of it
        gather(mine, patch)
        os.write(slave, b"M112\n")
        os.write(master, b"ok\n")
    os.close(master)
    os.close(slave)
    assert [each.data for each in mine.faults()] == [b"M112\n"]


def test_a_program_that_a_test_starts_is_seen_too(tmp_path: Path) -> None:
    """A child's writes to a port are noted in the file that the environment names; its own terminal is none."""
    noted = tmp_path / "noted"
    code = "import os, sys; os.write(os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY), b'M112\\n'); print('shown')"
    master, slave = os.openpty()
    environment = {**os.environ, "PYTHONPATH": str(CHILDREN), LEDGER_VARIABLE: str(noted)}
    subprocess.run([sys.executable, "-c", code, os.ttyname(slave)], env=environment, check=True, capture_output=True)  # noqa: S603 -- our own code
    os.close(master)
    os.close(slave)
    ledger = Ledger()
    ledger.read_children(noted)
    assert [each.data for each in ledger.faults()] == [b"M112\n"]


def test_a_query_that_is_added_is_a_fault() -> None:
    """The list on trial is written out in the test: what the program allows itself must be the same."""
    assert {query.value for query in Query} == QUERIES
    assert Ledger([Sent("serial", "136:0", b"M104 S200\n")]).faults()


def test_other_ways_to_write_to_a_port_are_seen() -> None:
    """Several parts in one write, and a file object on the device, which the system's own calls would not show."""
    mine = Ledger()
    master, slave = os.openpty()
    tty.setraw(slave)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "writev", lambda _descriptor, parts: sum(map(len, parts)))  # not for the run's own ledger
        patch.setattr(io, "open", _plain(io.open))
        gather(mine, patch)
        os.writev(slave, [b"M1", b"12\n"])
        with Path(os.ttyname(slave)).open("wb", buffering=0) as file:
            file.write(b"M112\n")
        with Path(os.ttyname(slave)).open("rb", buffering=0):
            pass
    os.close(master)
    os.close(slave)
    assert [(each.kind, each.data) for each in mine.faults()] == [
        (mine.sent[0].kind, b"M112\n"),
        ("opened as a file that can be written", b""),
    ]


async def test_texts_of_a_profile_are_seen_and_allowed(ledger: Ledger) -> None:
    """A websocket's greeting is gathered on both sides; its request carries the protocol's own headers alone."""

    async def greeted(connection: ServerConnection) -> None:
        await connection.recv()
        await connection.send(full())
        await connection.wait_closed()

    async with serving(greeted) as (_, url), started_websocket(make_websocket(url, on_connect=["hello"])) as events:
        await until_sample(events)
    data = {(each.way, each.data) for each in ledger.sent if each.kind == "TEXT"}
    assert data == {("frame", b"hello"), ("heard", b"hello")}
    assert any(each.way == "request" for each in ledger.sent)
    assert ledger.faults() == []


async def test_texts_of_nobodys_profile_are_faults() -> None:
    """A text that no profile holds, binary data and a strange header are found, sent by whatever means."""
    mine = Ledger()
    with pytest.MonkeyPatch.context() as patch:
        gather(mine, patch)
        patch.setattr("tests.bytes_sent.Ledger.allow", lambda *_: None)
        async with serve(_drain, "127.0.0.1", 0) as server:
            port = server.sockets[0].getsockname()[1]
            async with connect(f"ws://127.0.0.1:{port}/", additional_headers={"X-Do": "this"}) as connection:
                await connection.send("G28")
                await connection.send(b"\x00")
    found = {(each.way, each.kind, each.data) for each in mine.faults()}
    assert {("frame", "TEXT", b"G28"), ("heard", "TEXT", b"G28"), ("frame", "BINARY", b"\x00")} <= found
    assert ("request", "X-Do", b"this") in found


async def _drain(connection: ServerConnection) -> None:
    await connection.wait_closed()


async def test_the_descriptor_that_a_listening_link_holds_refuses_to_write(device: PtyDevice) -> None:
    """While a link listens, its own descriptor is found among this process's and is read-only to the system itself."""
    async with started(make(device, mode="listen")) as events:
        await until_told(events, "opened at")
        (own,) = _descriptors_of(os.ttyname(device.slave)) - {device.slave}
        assert fcntl.fcntl(own, fcntl.F_GETFL) & os.O_ACCMODE == os.O_RDONLY
        with pytest.raises(OSError, match="Bad file descriptor") as refused:
            os.write(own, b"M105\n")
    assert refused.value.errno == errno.EBADF
    assert device.heard() == b""


def _descriptors_of(place: str) -> set[int]:
    found = set()
    for entry in Path("/proc/self/fd").iterdir():
        try:
            if str(entry.readlink()) == place:
                found.add(int(entry.name))
        except OSError:
            continue
    return found


async def test_a_link_that_stays_sends_nothing_of_its_own(ledger: Ledger) -> None:
    """Without texts in the profile, nothing goes out but the protocol's own frames."""
    async with serving(stays) as (_, url), started_websocket(make_websocket(url)) as events:
        await until_sample(events)
    assert {each.kind for each in ledger.sent if each.way != "request"} <= {"PING", "PONG", "CLOSE"}
