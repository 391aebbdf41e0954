"""`watch` on a pseudo-terminal that speaks the line protocol: told, recorded, ended cleanly, or refused in plain words.

A pseudo-terminal has no modem lines, and root may open everything: restarts on opening and refused permissions are
tested with the link.
"""

import fcntl
import os
import pty
import select
import signal
import socket
import struct
import subprocess
import sys
import termios
import tty
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

import monitor
from connectors.recording import Conclusion, read_recording
from connectors.telemetry import Sample
from monitor.cli import main
from monitor.config import DEMO_FILE

WATCH = [sys.executable, "-m", "monitor", "watch"]
SAFETY_S = 60.0
REPORT = b"ok T0:195.1 /195.0 T1:224.8 /225.0 T2:33.0 /0.0 @0:40 @1:30\r\n"
SENSORS = 'cold_end = "T2"\nmanifold = "T0"\nnozzle = "T1"\n'
MACHINE = (Path(monitor.__file__).parent / DEMO_FILE).read_text(encoding="utf-8")


@dataclass
class Device:
    """A machine at the far end of a pseudo-terminal, and a profile that says how to reach it."""

    descriptor: int
    profile: Path
    recordings: Path

    def says(self, data: bytes) -> None:
        """Send bytes to whoever has the port open."""
        assert os.write(self.descriptor, data) == len(data)

    def recorded(self) -> list[object]:
        """Everything in the one recording there is."""
        (path,) = self.recordings.iterdir()
        return list(read_recording(path).items())


def _profile(path: Path, link: str) -> Path:
    path.write_text(f"{MACHINE}\n[link]\n{link}", encoding="utf-8")
    return path


def _serial(port: str, sensors: str = SENSORS) -> str:
    return (
        f'kind = "serial"\nport = "{port}"\nmode = "listen"\nopen_is_safe = true\n\n[link.sensors]\n{sensors}\n'
        "[link.input_of_tool]\n0 = 1\n1 = 2\n2 = 3\n3 = 4\n4 = 5\n5 = 6\n"
    )


@pytest.fixture
def device(tmp_path: Path) -> Iterator[Device]:
    """Return a device that is plugged in."""
    descriptor, port = os.openpty()
    tty.setraw(port)
    yield Device(descriptor, _profile(tmp_path / "machine.toml", _serial(os.ttyname(port))), tmp_path / "recordings")
    os.close(port)
    os.close(descriptor)


def _start(device: Device, *words: str) -> "subprocess.Popen[str]":
    return subprocess.Popen(  # noqa: S603 -- our own interpreter
        [*WATCH, "--profile", str(device.profile), "--record", str(device.recordings), *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def _read_until(process: "subprocess.Popen[str]", word: str) -> str:
    """Lines of standard output up to the first with `word`."""
    assert process.stdout is not None
    lines = []
    for line in process.stdout:
        lines.append(line)
        if word in line:
            return "".join(lines)
    raise AssertionError(f"never said {word!r}, but {''.join(lines)!r}")


@pytest.mark.parametrize(
    ("number", "reason"),
    [
        (signal.SIGTERM, "ended by SIGTERM"),
        (signal.SIGINT, "ended by the owner"),
        (signal.SIGHUP, "ended by SIGHUP: its terminal went away"),
    ],
)
def test_a_watch_records_what_it_hears_until_a_signal_ends_it(
    number: signal.Signals, reason: str, device: Device
) -> None:
    """As a service: status 0, the caution and the place of the recording told, the last sample recorded."""
    with _start(device, "--headless", "--every", "0.5") as process:
        opening = _read_until(process, "link up")
        device.says(REPORT)
        told = _read_until(process, "manifold 195 °C")
        process.send_signal(number)
        out, err = process.communicate(timeout=SAFETY_S)
    assert (process.returncode, err) == (0, "")
    assert "strandwatch only watches" in opening
    assert f"recording to {device.recordings}" in opening
    assert "data GOOD" in told
    assert f"end: {reason}" in out
    recorded = device.recorded()
    samples = [item for item in recorded if isinstance(item, Sample)]
    assert samples[-1].values["temp_c:manifold"] == 195.1
    assert isinstance(recorded[-1], Conclusion)
    assert recorded[-1].data["reason"] == reason


def test_a_sensor_that_the_machine_never_reports_is_told_at_the_end_at_the_latest(device: Device) -> None:
    """The profile names three sensors, the machine reports two: a slip that the owner can mend."""
    with _start(device, "--headless", "--every", "0.5") as process:
        _read_until(process, "link up")
        device.says(b"ok T0:195.1 /195.0 T1:224.8 /225.0\r\n")
        _read_until(process, "manifold 195 °C")
        process.send_signal(signal.SIGTERM)
        out, _ = process.communicate(timeout=SAFETY_S)
    assert "note: the profile names sensor 'cold_end', but the machine never reported it" in out
    assert "it reports 'manifold', 'nozzle'" in out


def test_a_vanished_reader_ends_the_watch_and_keeps_the_recording(device: Device) -> None:
    """Whoever read the lines is gone: clean end, status 0, nothing lost."""
    with _start(device, "--headless", "--every", "0.5") as process:
        _read_until(process, "link up")
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        device.says(REPORT)
        assert process.stderr.read() == ""
        assert process.wait(SAFETY_S) == 0
    last = device.recorded()[-1]
    assert isinstance(last, Conclusion)
    assert last.data["reason"] == "the output went away"


def test_no_record_records_nothing(device: Device) -> None:
    """Only if the owner asks for it."""
    with subprocess.Popen(  # noqa: S603 -- our own interpreter
        [*WATCH, "--profile", str(device.profile), "--no-record", "--headless"],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "XDG_DATA_HOME": str(device.recordings), "HOME": str(device.recordings)},
    ) as process:
        assert "recording to" not in _read_until(process, "link up")
        process.send_signal(signal.SIGTERM)
        process.communicate(timeout=SAFETY_S)
    assert not device.recordings.exists()


def test_the_screen_gives_the_terminal_back_and_says_where_the_recording_is(device: Device) -> None:
    """On a terminal of 120×40: the screen comes, SIGTERM ends it, the summary follows on the restored terminal."""
    terminal, end = pty.openpty()
    fcntl.ioctl(end, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))
    with subprocess.Popen(  # noqa: S603 -- our own interpreter
        [*WATCH, "--profile", str(device.profile), "--record", str(device.recordings)],
        stdin=end,
        stdout=end,
        stderr=end,
        env={**os.environ, "TERM": "xterm-256color"},
        start_new_session=True,
    ) as process:
        os.close(end)
        shown = _drawn_until(terminal, b"demo-chalk")
        process.send_signal(signal.SIGTERM)
        rest = _drawn_until(terminal, None)
        assert process.wait(SAFETY_S) == 0
    os.close(terminal)
    assert b"\x1b[?1049h" in shown
    after = rest.rpartition(b"\x1b[?1049l")[2].decode()
    assert "end: ended by SIGTERM" in after
    assert f"recording to {device.recordings}" in after.replace("\r\n", "")


def _drawn_until(terminal: int, word: bytes | None) -> bytes:
    """What is drawn until `word` has come, or until the terminal is closed at the far end."""
    drawn = b""
    while word is None or word not in drawn:
        readable, _, _ = select.select([terminal], [], [], SAFETY_S)
        assert readable, f"nothing more came after {drawn[-200:]!r}"
        try:
            drawn += os.read(terminal, 65536)
        except OSError:  # the far end is closed
            break
    return drawn


def _refused(words: list[str], capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    """Exit status and what standard error says; never a traceback."""
    status = main(["watch", "--headless", *words])
    told = capsys.readouterr().err
    assert "Traceback" not in told
    return status, told


def test_a_missing_port_is_a_failed_link(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Status 3, the port named; what there is to record is recorded."""
    profile = _profile(tmp_path / "machine.toml", _serial("/dev/no-such-port"))
    status, told = _refused(["--profile", str(profile), "--record", str(tmp_path / "r")], capsys)
    assert status == 3
    assert "/dev/no-such-port" in told
    (path,) = (tmp_path / "r").iterdir()
    (last,) = [item for item in read_recording(path).items() if isinstance(item, Conclusion)][-1:]
    assert last.kind == "end"
    assert "/dev/no-such-port" in str(last.data["reason"])


def test_a_refused_connection_is_a_failed_link(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Status 3 and the address, without --wait; nobody listens on a port that was just closed."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    link = f'kind = "websocket"\nurl = "ws://127.0.0.1:{port}/"\n'
    profile = _profile(tmp_path / "machine.toml", link)
    status, told = _refused(["--profile", str(profile), "--no-record"], capsys)
    assert status == 3
    assert f"127.0.0.1:{port}" in told


def test_a_port_that_may_restart_the_machine_is_not_opened(device: Device, capsys: pytest.CaptureFixture[str]) -> None:
    """Wrong use until the owner says that it may be: the option's name is told."""
    device.profile.write_text(device.profile.read_text().replace("open_is_safe = true", "open_is_safe = false"))
    status, told = _refused(["--profile", str(device.profile), "--no-record"], capsys)
    assert status == 2
    assert "--i-know-open-may-reset" in told


def test_a_profile_without_a_link_cannot_be_watched(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Wrong use; the message says what to add."""
    profile = tmp_path / "machine.toml"
    profile.write_text(MACHINE, encoding="utf-8")
    status, told = _refused(["--profile", str(profile)], capsys)
    assert status == 2
    assert "no [link]" in told


def test_all_faults_of_a_profile_are_told_at_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An unknown material and more strands than inputs, in one message, with the file's name."""
    profile = tmp_path / "machine.toml"
    text = MACHINE.replace('material = "demo-moss"', 'material = "no-such-stuff"')
    profile.write_text(text.replace("input = 6\nmaterial", "input = 7\nmaterial"), encoding="utf-8")
    status, told = _refused(["--profile", str(profile)], capsys)
    assert status == 2
    assert told.startswith("strandwatch: 2 faults in the profile")
    assert "no-such-stuff" in told
    assert "strands[6].input" in told
    assert str(profile) in told


@pytest.mark.parametrize("name", ["missing.toml", "."])
def test_a_profile_that_cannot_be_read_is_wrong_use(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A missing file, or a directory in its place."""
    status, told = _refused(["--profile", str(tmp_path / name)], capsys)
    assert status == 2
    assert str(tmp_path) in told


def test_a_recording_that_cannot_be_begun_is_told_before_the_machine_is_opened(
    device: Device, capsys: pytest.CaptureFixture[str]
) -> None:
    """A watch that was to be recorded does not run unrecorded by mistake: status 2."""
    blocked = device.profile.parent / "file"
    blocked.write_text("")
    status, told = _refused(["--profile", str(device.profile), "--record", str(blocked / "r")], capsys)
    assert status == 2
    assert "no recording can be written" in told
