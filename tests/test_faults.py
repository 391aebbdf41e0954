"""Faults injected that no other test injects; `fault_table` lists them with all others."""

import os
import signal
import subprocess
import sys
import time
import tracemalloc
from pathlib import Path

import pytest

from connectors.recording import Conclusion
from connectors.serial_protocol import SerialProtocol
from connectors.telemetry import Event, LinkChange, Malformed, Sample
from tests.test_commands_watch import REPORT, SAFETY_S, Device, _read_until, _watching
from tests.test_commands_watch import device as device  # noqa: PLC0414 -- a fixture, passed on
from tests.test_serial_protocol import opened, samples

_LINE_RATE_BYTES_S = 25_000
"""What a line at 250000 baud carries, with ten bits a byte."""


def _listen(protocol: SerialProtocol, data: bytes, from_s: float) -> list[Event]:
    """Hand over bytes as a port does: in pieces, at the line's speed."""
    events: list[Event] = []
    for start in range(0, len(data), 4096):
        events += protocol.receive(data[start : start + 4096], from_s + start / _LINE_RATE_BYTES_S)
    return events


def _is_believed_again(protocol: SerialProtocol, time_s: float) -> bool:
    protocol.receive(b"\nok T0:210.0 /210.0\n", time_s)
    return any("temp_c:manifold" in values for values in samples(protocol.receive(b"ok T0:210.0 /210.0\n", time_s + 1)))


def test_a_megabyte_without_an_end_of_line() -> None:
    """It is told once, costs no memory, and the reports after it are read."""
    protocol = opened()
    data = b"x" * 1_000_000
    tracemalloc.start()
    try:
        events = _listen(protocol, data, 1.0)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert len([event for event in events if isinstance(event, Malformed)]) == 1
    assert peak < 500_000
    assert _is_believed_again(protocol, 50.0)


def test_ten_minutes_of_garbage_at_line_rate() -> None:
    """It is told as garbage, with at most one excerpt a second; the first good reports after it are believed."""
    protocol = opened()
    garbage = bytes(range(1, 256)).replace(b"\n", b"\r") * 98
    events: list[Event] = []
    for second in range(600):
        events += protocol.receive(garbage, 1.0 + second)
        events += protocol.elapse(1.5 + second)
    told = [event for event in events if isinstance(event, Malformed)]
    assert 1 <= len(told) <= 601
    assert samples(events) == []
    assert any(isinstance(event, LinkChange) and not event.available for event in events)
    assert _is_believed_again(protocol, 700.0)


def test_a_clock_that_jumps_eight_hours() -> None:
    """The computer slept: what is told first is that nothing came, and no feed or query is made up for the gap."""
    protocol = opened(mode="ask")
    protocol.receive(b"X:0 Y:0 Z:0 E:10.0\n", 1.0)
    woke_s = 8 * 3600.0
    events = protocol.elapse(woke_s)
    assert [event.available for event in events if isinstance(event, LinkChange)] == [False]
    assert protocol.poll(woke_s) is not None
    assert protocol.poll(woke_s) is None  # one query, not those of eight hours
    assert _is_believed_again(protocol, woke_s + 1.0)


def test_a_watch_that_is_stopped_and_goes_on(device: Device) -> None:
    """A process held by SIGSTOP while the machine talks goes on where it was: what waited in the port is recorded."""
    with _watching(device.profile, "--record", str(device.recordings)) as process:
        _read_until(process, "link up")
        process.send_signal(signal.SIGSTOP)
        device.says(REPORT)
        time.sleep(1.5)
        process.send_signal(signal.SIGCONT)
        _read_until(process, "manifold 195 °C")
        process.send_signal(signal.SIGTERM)
        process.communicate(timeout=SAFETY_S)
    assert process.returncode == 0
    recorded = device.recorded()
    assert any(isinstance(item, Sample) and item.values.get("temp_c:manifold") == 195.1 for item in recorded)
    assert isinstance(recorded[-1], Conclusion)


_STARVED = """
import asyncio, os, resource, sys
from contextlib import aclosing
from connectors.telemetry import LinkChange
from pathlib import Path
from tests.test_serial_link import PtyDevice, make, until_told

async def main(directory):
    first, second = PtyDevice(directory / "port"), PtyDevice(directory / "other")
    first.plug(); second.plug()
    async with asyncio.timeout(30), aclosing(make(first).events()) as events:
        await until_told(events, "opened at")
        most = resource.getrlimit(resource.RLIMIT_NOFILE)[1]
        resource.setrlimit(resource.RLIMIT_NOFILE, (len(os.listdir("/proc/self/fd")) + 4, most))
        kept = []
        def starve():
            try:
                while True: kept.append(os.open(os.devnull, os.O_RDONLY))
            except OSError: pass
        (directory / "port").unlink()
        (directory / "port").symlink_to(os.ttyname(second.slave))
        os.close(first.master)
        starve()
        print((await until_told(events, "went away")).available)
        starve()
        print((await until_told(events, "Too many open files")).reason)
        for each in kept: os.close(each)
        print((await until_told(events, "opened at")).available)

asyncio.run(main(Path(sys.argv[1])))
"""


def test_out_of_file_descriptors_a_link_says_so_and_recovers(tmp_path: Path) -> None:
    """With no descriptor left the lost port cannot be opened: told with the system's own words; later it is opened."""
    done = subprocess.run(  # noqa: S603 -- our own code
        [sys.executable, "-c", _STARVED, str(tmp_path)],
        cwd=Path(__file__).parent.parent,
        capture_output=True,
        text=True,
        timeout=SAFETY_S,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    lost, starved, found = done.stdout.splitlines()
    assert (lost, found) == ("False", "True")
    assert "Too many open files" in starved
    assert "trying again" in starved


@pytest.mark.parametrize("limit", [6, 12])
def test_a_watch_started_with_hardly_any_descriptors_says_so(limit: int, device: Device) -> None:
    """It starts, or ends at once with a status that is no alarm and words; it never hangs."""
    code = (
        "import resource, runpy, sys\n"
        "import monitor.commands.watch_run, monitor.headless, websockets.asyncio.client, serial_asyncio\n"
        f"resource.setrlimit(resource.RLIMIT_NOFILE, ({limit}, {limit}))\n"
        "from monitor.cli import main\n"
        "sys.exit(main(['watch', '--headless', '--no-record', '--profile', sys.argv[1]]))"
    )
    with subprocess.Popen(  # noqa: S603 -- our own code
        [sys.executable, "-c", code, str(device.profile)],
        cwd=Path(__file__).parent.parent,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=dict(os.environ),
    ) as process:
        try:
            out, err = process.communicate(timeout=4.0)
        except subprocess.TimeoutExpired:
            process.terminate()
            out, err = process.communicate(timeout=SAFETY_S)
    assert process.returncode in {0, 2, 3, 70}, (out, err)
    assert "link up" in out or "Too many open files" in err
