"""The open port itself, on a pseudo-terminal: its settings, flow, and the end. Linux only, as the product is."""

import array
import asyncio
import fcntl
import os
import termios
import tty
from collections.abc import Iterator
from typing import Literal

import pytest

from connectors import serial_wire
from connectors.serial_port import close_port, open_port
from connectors.serial_queries import Query
from connectors.serial_wire import AskingWire, ListeningWire, Wire, WireLostError

TCGETS2, TIOCGEXCL = 0x802C542A, 0x80045440  # Linux's own numbers; the standard library has no names for them
SAFETY_S = 10.0
Mode = Literal["listen", "ask"]


@pytest.fixture
def pty() -> Iterator[tuple[int, int]]:
    """Return both ends of a pseudo-terminal: the device's and the port's."""
    device, port = os.openpty()
    tty.setraw(port)
    attributes = termios.tcgetattr(port)
    attributes[2] |= termios.HUPCL
    termios.tcsetattr(port, termios.TCSANOW, attributes)
    os.set_blocking(device, False)
    yield device, port
    os.close(device)
    os.close(port)


def opened_wire(port: int, mode: Mode) -> Wire:
    """Return the wire of an open port."""
    opened = open_port(os.ttyname(port), 115200, mode)
    return ListeningWire(opened, lambda: 7.0) if isinstance(opened, int) else AskingWire(opened, lambda: 7.0)


@pytest.mark.parametrize("mode", ["listen", "ask"])
@pytest.mark.parametrize("baud", [9600, 250000, 76923])
def test_port_is_set_up_raw_at_its_speed_and_exclusive(pty: tuple[int, int], mode: Mode, baud: int) -> None:
    """Any speed is set; HUPCL is cleared, so that closing drops no modem line; nobody else can open it."""
    _, port = pty
    opened = open_port(os.ttyname(port), baud, mode)
    try:
        _, _, cflag, lflag, _, _, special = termios.tcgetattr(port)
        assert not cflag & termios.HUPCL
        assert not lflag & (termios.ICANON | termios.ECHO | termios.ISIG)
        assert mode == "ask" or special[termios.VMIN] in {1, b"\x01"}
        assert _speed(port) == baud
        assert _is_exclusive(port)
    finally:
        close_port(opened)
    assert not _is_exclusive(port)


@pytest.mark.parametrize("mode", ["listen", "ask"])
async def test_sender_is_paused_and_nothing_is_lost(
    pty: tuple[int, int], mode: Mode, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When much is waiting the port is not read further; fetching resumes it, and every byte arrives in order."""
    monkeypatch.setattr(serial_wire, "MOST_PENDING_BYTES", 100)
    device, port = pty
    wire = opened_wire(port, mode)
    sent, received = b"".join(b"%d\n" % number for number in range(2000)), b""
    to_send = sent
    async with asyncio.timeout(SAFETY_S):
        while len(received) < len(sent):
            to_send = to_send[os.write(device, to_send[:500]) :] if to_send else b""
            for _ in range(5):
                await asyncio.sleep(0)
            chunks = await wire.read(0.2)
            assert chunks
            received += b"".join(data for _, data in chunks)
            assert {time_s for time_s, _ in chunks} == {7.0}
        await wire.close()
    assert received == sent


async def test_bytes_before_a_loss_are_handed_out_first() -> None:
    """What had arrived is not lost with the port."""
    inbox = serial_wire._Inbox(lambda: 1.0)
    inbox.put(b"ok T:2")
    inbox.lose("gone")
    assert await inbox.take(1.0) == [(1.0, b"ok T:2")]
    with pytest.raises(WireLostError, match="gone"):
        await inbox.take(1.0)


async def test_closing_waits_for_nothing_unsent(pty: tuple[int, int], monkeypatch: pytest.MonkeyPatch) -> None:
    """Closing never drains: a device that takes no bytes would block the whole watch."""
    drained: list[int] = []
    monkeypatch.setattr(termios, "tcdrain", drained.append)
    wire = opened_wire(pty[1], "ask")
    wire.send(Query.TEMPERATURES)
    await wire.read(0.01)
    await wire.close()
    assert os.read(pty[0], 100) == b"M105\n"
    assert drained == []


async def test_nothing_can_be_sent_while_listening(pty: tuple[int, int]) -> None:
    """Trying to send on a listening wire is a mistake of ours and raises."""
    wire = opened_wire(pty[1], "listen")
    with pytest.raises(RuntimeError, match="listening only"):
        wire.send(Query.TEMPERATURES)
    await wire.close()


def _speed(port: int) -> int:
    words = array.array("i", bytes(64))
    fcntl.ioctl(port, TCGETS2, words)
    return words[10]


def _is_exclusive(port: int) -> bool:
    flag = array.array("i", [0])
    fcntl.ioctl(port, TIOCGEXCL, flag)
    return bool(flag[0])
