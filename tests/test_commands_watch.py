"""`watch` on a pseudo-terminal and on a websocket: told, recorded, ended cleanly, or refused in plain words.

A pseudo-terminal has no modem lines, and root may open everything: restarts on opening and refused permissions are
tested with the link.
"""

import fcntl
import json
import os
import pty
import select
import signal
import socket
import struct
import subprocess
import sys
import termios
import threading
import time
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from http import HTTPStatus
from itertools import islice
from pathlib import Path

import pytest
from websockets.http11 import Request, Response
from websockets.sync.server import ServerConnection, serve

import monitor
from connectors.recording import Conclusion, read_recording
from connectors.telemetry import Sample
from monitor.cli import main
from monitor.commands import watch_run
from monitor.config import DEMO_FILE
from monitor.history.keeping import Keeper
from monitor.session import Session
from tests.planned_builds import build_text, layers

WATCH = [sys.executable, "-m", "monitor", "watch"]
SAFETY_S = 60.0
REPORT = 2 * b"ok T0:195.1 /195.0 T1:224.8 /225.0 T2:33.0 /0.0 @0:40 @1:30\r\n"
"""Told twice: a first value is believed when a second one agrees."""
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
    profile = _profile(tmp_path / "machine.toml", _serial(os.ttyname(port)))
    os.close(port)  # the watch refuses a port that another program holds open
    yield Device(descriptor, profile, tmp_path / "recordings")
    os.close(descriptor)


@contextmanager
def _watching(profile: Path, *words: str) -> Iterator["subprocess.Popen[str]"]:
    """Run the command without a terminal; whatever the test finds, it does not stay behind."""
    with subprocess.Popen(  # noqa: S603 -- our own interpreter
        [*WATCH, "--profile", str(profile), "--headless", "--every", "0.5", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        try:
            yield process
        finally:
            process.kill()


def _read_until(process: "subprocess.Popen[str]", word: str) -> str:
    """Lines of standard output up to the first with `word`, which is among the next hundred."""
    assert process.stdout is not None
    lines = []
    for line in islice(process.stdout, 100):
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
    with _watching(device.profile, "--record", str(device.recordings)) as process:
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
    with _watching(device.profile, "--record", str(device.recordings)) as process:
        _read_until(process, "link up")
        device.says(6 * b"ok T0:195.1 /195.0 T1:224.8 /225.0\r\n")
        _read_until(process, "manifold 195 °C")
        process.send_signal(signal.SIGTERM)
        out, _ = process.communicate(timeout=SAFETY_S)
    assert "note: the profile names sensor 'cold_end', but the machine never reported it" in out
    assert "it reports 'manifold', 'nozzle'" in out


def test_a_vanished_reader_ends_the_watch_and_keeps_the_recording(device: Device) -> None:
    """Whoever read the lines is gone: clean end, status 0, nothing lost."""
    with _watching(device.profile, "--record", str(device.recordings)) as process:
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


def test_no_record_records_nothing(device: Device, monkeypatch: pytest.MonkeyPatch) -> None:
    """Only if the owner asks for it."""
    monkeypatch.setenv("XDG_DATA_HOME", str(device.recordings))
    with _watching(device.profile, "--no-record") as process:
        assert "recording to" not in _read_until(process, "link up")
        process.send_signal(signal.SIGTERM)
        process.communicate(timeout=SAFETY_S)
    assert not device.recordings.exists()


def test_a_watch_with_a_plan_follows_the_build(device: Device, tmp_path: Path) -> None:
    """The machine tells its place in the file; the recording holds when each input is needed next."""
    file = tmp_path / "build.gcode"
    file.write_text(build_text(layers(1.0, 1, 2)), encoding="utf-8")
    place = f"SD printing byte {file.stat().st_size // 2}/{file.stat().st_size}\n".encode()
    with _watching(device.profile, "--record", str(device.recordings), "--plan", str(file)) as process:
        _read_until(process, "link up")
        for _ in range(3):
            device.says(REPORT + 2 * place)
            _read_until(process, "manifold 195 °C")
        process.send_signal(signal.SIGTERM)
        process.communicate(timeout=SAFETY_S)
    words = [item for item in device.recorded() if isinstance(item, Conclusion) and item.kind == "next_uses"]

    assert words
    assert words[0].data["planned_s"] == pytest.approx(1800.0, rel=0.15)  # marks stand at every thousandth line


def test_a_plan_that_is_no_build_file_is_refused(
    device: Device, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Before the machine is opened, with the reason."""
    (tmp_path / "picture.png").write_bytes(b"\x89PNG\x00\x00")
    code, told = _refused(["--profile", str(device.profile), "--plan", str(tmp_path / "picture.png")], capsys)

    assert code == 2
    assert "picture.png: " in told


def test_a_recording_goes_to_the_owners_own_directory_by_default(
    device: Device, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a word about it a watch is recorded, where the XDG base directories say."""
    monkeypatch.setenv("XDG_DATA_HOME", str(device.recordings))
    with _watching(device.profile) as process:
        _read_until(process, "link up")
        process.send_signal(signal.SIGTERM)
        process.communicate(timeout=SAFETY_S)
    assert len(list(device.recordings.glob("strandwatch/recordings/*.jsonl"))) == 1


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
        try:
            shown = _drawn_until(terminal, b"demo machine")
            process.send_signal(signal.SIGTERM)
            rest = _drawn_until(terminal, None)
            assert process.wait(SAFETY_S) == 0
        finally:
            process.kill()
    os.close(terminal)
    assert b"\x1b[?1049h" in shown
    after = rest.rpartition(b"\x1b[?1049l")[2].decode()
    assert "end: ended by SIGTERM" in after
    assert f"recording to {device.recordings}" in after.replace("\r\n", "")


def test_a_vanished_terminal_ends_the_watch_and_keeps_the_recording(device: Device) -> None:
    """A lost ssh line: status 0 although the last words can go nowhere; the recording has its end line."""
    terminal, end = pty.openpty()
    fcntl.ioctl(end, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    with subprocess.Popen(  # noqa: S603 -- our own interpreter
        [*WATCH, "--profile", str(device.profile), "--record", str(device.recordings)],
        stdin=end,
        stdout=end,
        stderr=end,
        env={**os.environ, "TERM": "xterm-256color"},
        start_new_session=True,
    ) as process:
        os.close(end)
        try:
            _drawn_until(terminal, b"demo machine")
            os.close(terminal)
            assert process.wait(SAFETY_S) == 0
        finally:
            process.kill()
    last = device.recorded()[-1]
    assert isinstance(last, Conclusion)
    assert last.kind == "end"


def _drawn_until(terminal: int, word: bytes | None) -> bytes:
    """What is drawn until `word` has come, or until the terminal is closed at the far end."""
    drawn, give_up_s = b"", time.monotonic() + SAFETY_S
    while word is None or word not in drawn:
        left_s = give_up_s - time.monotonic()
        assert left_s > 0, f"{word!r} never came, but {drawn[-500:]!r}"
        if not select.select([terminal], [], [], left_s)[0]:
            continue
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
    """Status 3, the port named once beside the output; of a watch in which nothing came no recording stays behind."""
    profile = _profile(tmp_path / "machine.toml", _serial("/dev/no-such-port"))
    status = main(["watch", "--headless", "--profile", str(profile), "--record", str(tmp_path / "r")])
    printed = capsys.readouterr()
    assert status == 3
    assert printed.err.count("there is no port /dev/no-such-port") == 1
    assert "there is no port" not in printed.out
    assert "end: the link failed for good" in printed.out
    assert "the recording is not kept" in printed.out
    assert list((tmp_path / "r").iterdir()) == []


def test_a_watch_keeps_its_past_whoever_looks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A screen that is attached hours later is to see them, so it is kept without a screen, too."""
    kept: list[object] = []

    def carry_out(session: Session, *_: object) -> int:
        kept.extend(look for look in session._onlookers if isinstance(getattr(look, "__self__", None), Keeper))
        return 0

    monkeypatch.setattr(watch_run, "carry_out", carry_out)
    profile = _profile(tmp_path / "machine.toml", _serial("/dev/no-such-port"))
    assert main(["watch", "--headless", "--profile", str(profile), "--no-record"]) == 0
    assert len(kept) == 1


def test_json_of_a_missing_port_tells_programs_why(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The last line of the output holds the reason, whatever is told to people beside it."""
    profile = _profile(tmp_path / "machine.toml", _serial("/dev/no-such-port"))
    assert main(["watch", "--json", "--profile", str(profile), "--no-record"]) == 3
    assert "there is no port /dev/no-such-port" in json.loads(capsys.readouterr().out)["reason"]


def _websocket(port: int, token_file: Path | None = None) -> str:
    token = "" if token_file is None else f'token_file = "{token_file}"\n'
    channels = "".join(f'"temp_c:{name}" = {{ pointer = "/{name}" }}\n' for name in ("cold_end", "manifold", "nozzle"))
    feeds = "".join(f'"fed_mm:{number}" = {{ pointer = "/fed/{number - 1}" }}\n' for number in range(1, 7))
    return (
        f'kind = "websocket"\nurl = "ws://127.0.0.1:{port}/"\n{token}\n[[link.messages]]\nmeans = "full"\n\n'
        f"[link.channels]\n{channels}{feeds}"
    )


@contextmanager
def _server(status: HTTPStatus | None = None) -> Iterator[int]:
    """A server that tells its status; or that refuses with an HTTP status. Gives its port."""

    def refuse(connection: ServerConnection, _request: Request) -> Response | None:
        return None if status is None else connection.respond(status, "no")

    def talk(connection: ServerConnection) -> None:
        for _ in range(2):  # a first value is believed when a second one agrees
            connection.send('{"cold_end": 33.0, "manifold": 195.1, "nozzle": 224.8, "fed": [0, 0, 0, 0, 0, 0]}')
        connection.recv(timeout=SAFETY_S)

    with serve(talk, "127.0.0.1", 0, process_request=refuse) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        try:
            yield server.socket.getsockname()[1]
        finally:
            server.shutdown()
            thread.join()


def test_a_watch_over_a_websocket_tells_how_things_stand_and_ends_cleanly(device: Device) -> None:
    """The same command, with another link in the profile."""
    with _server() as port, _watching(_profile(device.profile, _websocket(port)), "--no-record") as process:
        assert f"ws://127.0.0.1:{port}" in _read_until(process, "link up")
        _read_until(process, "manifold 195 °C")
        process.send_signal(signal.SIGTERM)
        out, err = process.communicate(timeout=SAFETY_S)
    assert (process.returncode, err) == (0, "")
    assert "end: ended by SIGTERM" in out


def test_a_refused_token_is_a_failed_link_and_is_never_shown(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Status 3; where the token stands is told, the token is not, and no recording stays behind."""
    token = tmp_path / "token"
    token.write_text("opensesame123")
    token.chmod(0o600)
    with _server(HTTPStatus.UNAUTHORIZED) as port:
        profile = _profile(tmp_path / "machine.toml", _websocket(port, token))
        status, told = _refused(["--profile", str(profile), "--record", str(tmp_path / "r")], capsys)
    assert status == 3
    assert "does not let us in (HTTP 401)" in told
    assert "opensesame" not in told
    assert list((tmp_path / "r").iterdir()) == []


def test_a_refused_connection_is_a_failed_link(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Status 3 and the address, without --wait; nobody listens on a port that was just closed."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    profile = _profile(tmp_path / "machine.toml", _websocket(port))
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
