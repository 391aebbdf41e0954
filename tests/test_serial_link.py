"""The serial link on a pseudo-terminal, with real pyserial-asyncio.

A pseudo-terminal has no modem lines: whether opening restarts a real controller cannot be tested here.
"""

import asyncio
import contextlib
import errno
import fcntl
import os
import re
import tty
from collections.abc import AsyncIterator, Callable
from contextlib import aclosing, asynccontextmanager
from pathlib import Path
from typing import Any

import pytest

from connectors import serial_port
from connectors.errors import LinkFailedError, SettingsError
from connectors.serial_link import SerialLink
from connectors.serial_port import PortUnavailableError, close_port, open_port
from connectors.serial_settings import SerialSettings
from connectors.telemetry import Event, LinkChange, Malformed, Sample, Tick

LONGEST_TEST_S = 10.0
REPORT = b"ok T0:210.0 /210.0 @0:64\r\n"


class PtyDevice:
    """A device on a stable path that can be plugged in and out."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.master = self.slave = -1

    def plug(self) -> None:
        """Appear on the path."""
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        os.set_blocking(self.master, False)
        self.path.symlink_to(os.ttyname(self.slave))

    def unplug(self) -> None:
        """Vanish from the path."""
        if self.master >= 0:
            self.path.unlink()
            os.close(self.master)
            os.close(self.slave)
            self.master = -1

    def says(self, data: bytes) -> None:
        """Send bytes to whoever has the port open."""
        assert os.write(self.master, data) == len(data)

    def heard(self) -> bytes:
        """Bytes that were written to the port."""
        try:
            return os.read(self.master, 4096)
        except BlockingIOError:
            return b""


class TestClock:
    """Seconds that pass only when the test says so."""

    __test__ = False

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        """Return the time."""
        return self.now_s


@pytest.fixture
def device(tmp_path: Path) -> Any:  # noqa: ANN401 -- a generator fixture
    """Return a plugged-in device."""
    plugged = PtyDevice(tmp_path / "port")
    plugged.plug()
    yield plugged
    plugged.unplug()


def settings(device: PtyDevice, **changes: Any) -> SerialSettings:  # noqa: ANN401 -- any key of the settings
    keys: dict[str, Any] = {"port": str(device.path), "sensors": {"manifold": "T0"}, "open_is_safe": True}
    return SerialSettings.model_validate(keys | changes)


async def _no_pause(_: float) -> None:
    await asyncio.sleep(0)


@asynccontextmanager
async def started(link: SerialLink) -> AsyncIterator[AsyncIterator[Event]]:
    """Events of `link`, closed at the end; the whole may take ten seconds at most."""
    async with asyncio.timeout(LONGEST_TEST_S), aclosing(link.events()) as events:  # type: ignore[type-var]  # a generator
        yield events


def make(device: PtyDevice, clock: TestClock | None = None, **changes: Any) -> SerialLink:  # noqa: ANN401 -- settings
    return SerialLink(settings(device, **changes), clock or TestClock(), beat_s=0.01, pause=_no_pause)


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


@pytest.mark.parametrize("mode", ["listen", "ask"])
@pytest.mark.parametrize("baud", [115200, 250000])
async def test_lines_arrive(device: PtyDevice, mode: str, baud: int) -> None:
    """Reports come through in both modes, also at a speed that POSIX has no name for."""
    async with started(make(device, mode=mode, baud=baud)) as events:
        told = await until_told(events, "opened at")
        assert told.available
        device.says(REPORT * 2)
        sample = await until(events, lambda e: isinstance(e, Sample) and "temp_c:manifold" in e.values)
    assert isinstance(sample, Sample)
    assert sample.values == {"temp_c:manifold": 210.0, "set_c:manifold": 210.0, "duty:manifold": 64 / 127}


async def test_unknown_tool_is_told_on_opening(device: PtyDevice) -> None:
    """Where feed depends on the active tool, opening says when it is not known; again after a loss."""
    async with started(make(device, input_of_tool={0: 1}, tool_at_start=0)) as events:
        assert "which input" not in (await until_told(events, "opened at")).reason
        device.unplug()
        await until_told(events, "there is no port")
        device.plug()
        assert "which input feeds is not known" in (await until_told(events, "opened at")).reason


@pytest.mark.parametrize("mode", ["listen", "ask"])
async def test_unplugged_and_plugged_in_again(device: PtyDevice, mode: str) -> None:
    """Losing the port is told, whole lines received before are not lost, and the port is opened again by itself."""
    async with started(make(device, mode=mode)) as events:
        assert not (await until_told(events, "opened at")).feed_unknown
        device.says(REPORT * 2)
        await until(events, lambda e: isinstance(e, Sample) and "temp_c:manifold" in e.values)
        device.unplug()
        lost = await until_told(events, "went away")
        assert not lost.available
        missing = await until_told(events, "there is no port")
        assert not missing.available
        device.plug()
        assert (await until_told(events, "opened at")).feed_unknown
        device.says(REPORT)
        await until(events, lambda e: isinstance(e, Sample) and "temp_c:manifold" in e.values)


async def test_asking_sends_queries_of_the_list_one_at_a_time(device: PtyDevice) -> None:
    """In ask mode the device hears M105 and M27, each only after the one before was answered, and nothing else."""
    clock = TestClock()
    answers = {b"M105\n": REPORT, b"M27\n": b"SD printing byte 10/40\r\nok\r\n"}
    heard: list[bytes] = []

    def answer() -> None:
        heard.append(device.heard())
        clock.now_s += 1.0
        device.says(answers[heard[-1]])

    loop = asyncio.get_running_loop()
    loop.add_reader(device.master, answer)
    try:
        async with started(make(device, clock, mode="ask")) as events:
            for _ in range(20):
                sample = await until(events, lambda e: isinstance(e, Sample))
                clock.now_s += 1.0
    finally:
        loop.remove_reader(device.master)
    assert isinstance(sample, Sample)
    assert heard.count(b"M105\n") > heard.count(b"M27\n") >= 2
    assert set(heard) == set(answers)


async def test_listening_hears_but_the_system_refuses_writes(device: PtyDevice) -> None:
    """In listen mode the descriptor is read-only: a write fails with EBADF, and nothing reaches the device."""
    opened = open_port(str(device.path), 115200, "listen")
    assert isinstance(opened, int)
    try:
        with pytest.raises(OSError, match="Bad file descriptor") as caught:
            os.write(opened, b"M105\n")
        assert caught.value.errno == errno.EBADF
        assert fcntl.fcntl(opened, fcntl.F_GETFL) & os.O_ACCMODE == os.O_RDONLY
    finally:
        close_port(opened)
    clock = TestClock()
    async with started(make(device, clock)) as events:
        await until_told(events, "opened at")
        for _ in range(20):
            clock.now_s += 2.0
            device.says(REPORT)
            await until(events, lambda e: isinstance(e, Sample))
    assert device.heard() == b""


@pytest.mark.parametrize("mode", ["listen", "ask"])
@pytest.mark.parametrize("other", ["listen", "ask"])
def test_port_serves_one_reader(device: PtyDevice, mode: Any, other: Any) -> None:  # noqa: ANN401 -- literals
    """A second open of the same port is refused in plain words: two readers would each get half of the lines."""
    opened = open_port(str(device.path), 115200, mode)
    try:
        with pytest.raises(PortUnavailableError, match="used by another program"):
            open_port(str(device.path), 115200, other)
    finally:
        close_port(opened)
    close_port(open_port(str(device.path), 115200, other))


async def test_port_held_by_another_program_is_not_even_opened(device: PtyDevice) -> None:
    """Another process that has the port open, without any lock, is found and named before the port is touched."""
    holder = await asyncio.create_subprocess_exec("sleep", "60", stdin=device.slave)
    try:
        with pytest.raises(PortUnavailableError, match=f"sleep, process {holder.pid}"):
            await asyncio.to_thread(open_port, str(device.path), 115200, "listen")
    finally:
        holder.kill()
        await holder.wait()


async def test_missing_port_fails_at_first_unless_told_to_wait(device: PtyDevice) -> None:
    """At the start a missing port ends the link with what to do; with `wait_for_port` it is waited for."""
    device.unplug()
    async with started(make(device)) as events:
        with pytest.raises(LinkFailedError, match=r"there is no port .*: is the machine plugged in and on?"):
            await anext(events)
    pauses: list[float] = []

    async def plug_in_after_five(pause_s: float) -> None:
        pauses.append(pause_s)
        if len(pauses) == 5:
            device.plug()

    waiting = SerialLink(settings(device), TestClock(), wait_for_port=True, beat_s=0.01, pause=plug_in_after_five)
    async with started(waiting) as events:
        first, second = await anext(events), await anext(events)
    assert isinstance(first, LinkChange)
    assert "there is no port" in first.reason
    assert "trying again" in first.reason
    assert isinstance(second, LinkChange)  # told once, not at each of the five attempts
    assert "opened at" in second.reason
    assert pauses == sorted(pauses)


async def test_no_permission_names_the_group(device: PtyDevice, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without permission the message names the group that owns the port and the command that helps."""
    really_open = os.open

    def refuse(path: str, *flags: int) -> int:
        if path == str(device.path):
            raise PermissionError(errno.EACCES, "Permission denied", path)
        return really_open(path, *flags)

    monkeypatch.setattr(os, "open", refuse)
    async with started(make(device)) as events:
        with pytest.raises(LinkFailedError, match=r"no permission to open .*sudo usermod -aG \w+ \$USER"):
            await anext(events)


async def test_a_file_that_is_no_port_is_refused(tmp_path: Path) -> None:
    """An ordinary file cannot be set up as a port; waiting would not help."""
    plain = PtyDevice(tmp_path / "plain.txt")
    plain.path.write_text("no port")
    for mode in ("listen", "ask"):
        link = SerialLink(settings(plain, mode=mode), TestClock(), wait_for_port=True, pause=_no_pause)
        async with started(link) as events:
            with pytest.raises(LinkFailedError, match="is not a serial port"):
                await anext(events)


def test_opening_must_be_declared_safe(device: PtyDevice) -> None:
    """Opening may restart a controller: refused unless the profile or the owner says so, naming both ways."""
    unsafe = settings(device, open_is_safe=False)
    with pytest.raises(SettingsError, match=r"--i-know-open-may-reset.*open_is_safe = true"):
        SerialLink(unsafe, TestClock())
    SerialLink(unsafe, TestClock(), may_reset=True)


async def test_controller_that_restarts_on_opening_is_not_opened_twice(device: PtyDevice) -> None:
    """A banner right after our open is told loudly; when that port is lost, it is left alone."""
    async with started(make(device)) as events:
        await until_told(events, "opened at")
        device.says(b"\x00start\r\n")
        await until_told(events, "OPENING THIS PORT RESTARTED THE CONTROLLER")
        device.unplug()
        await until_told(events, "went away")
        with pytest.raises(LinkFailedError, match="is not reopened"):
            await until(events, lambda _: False)


async def test_restart_later_is_told_and_the_port_stays_open(device: PtyDevice) -> None:
    """A banner long after the opening is a restart of the controller; reports go on."""
    clock = TestClock()
    async with started(make(device, clock)) as events:
        await until_told(events, "opened at")
        clock.now_s = 60.0
        device.says(b"start\n")
        assert (await until_told(events, "the controller restarted")).available
        device.says(REPORT * 2)
        await until(events, lambda e: isinstance(e, Sample) and "temp_c:manifold" in e.values)


async def test_only_garbage_names_the_speed(device: PtyDevice) -> None:
    """At a wrong speed nothing but broken bytes arrive; after 5 s that is told with the speed."""
    clock = TestClock()
    async with started(make(device, clock, baud=250000)) as events:
        await until_told(events, "opened at")
        event: Event = Tick(0.0)
        while not (isinstance(event, LinkChange) and "only garbage" in event.reason):
            clock.now_s += 1.0
            device.says(b"\xe0\x9c\x80\xf8\x12a\xff\n" * 5)
            event = await until(events, lambda e: isinstance(e, Malformed | LinkChange))
    assert not event.available
    assert "is the speed 250000 baud right?" in event.reason
    assert clock.now_s <= 8.0


async def test_closing_leaves_nothing_open(device: PtyDevice) -> None:
    """After closing, the port can be opened again at once, and no descriptor and no task is left."""
    before = set(os.listdir("/proc/self/fd"))  # noqa: PTH208 -- names only
    for mode in ("listen", "ask"):
        async with started(make(device, mode=mode)) as events:
            await until_told(events, "opened at")
    assert set(os.listdir("/proc/self/fd")) == before  # noqa: PTH208 -- names only


async def test_cancelled_while_waiting_for_bytes(device: PtyDevice) -> None:
    """A watch that is cancelled in the middle of a wait ends cleanly, and the port is free again."""
    link = make(device, mode="ask")

    async def run() -> None:
        async with started(link) as events:
            async for _ in events:
                is_open.set()

    is_open = asyncio.Event()
    task = asyncio.create_task(run())
    await asyncio.wait_for(is_open.wait(), LONGEST_TEST_S)
    task.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await task
    close_port(open_port(str(device.path), 115200, "ask"))


def test_bytes_leave_at_one_place_only() -> None:
    """In all modules of the serial link there is one call that writes, and none that touches modem lines or breaks."""
    sources = {path.name: path.read_text(encoding="utf-8") for path in Path(serial_port.__file__).parent.glob("*.py")}
    ours = {name: text for name, text in sources.items() if name.startswith(("serial_", "framing", "link_health"))}
    assert [name for name, text in ours.items() for _ in re.findall(r"\.write\(", text)] == ["serial_wire.py"]
    assert not [name for name, text in ours.items() if re.search(r"TIOCM|send_break|tcsendbreak|\.dtr|\.rts\b", text)]
