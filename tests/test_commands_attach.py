"""`attach`: finds a running watch, shows it on a terminal, and leaves it alone."""

import fcntl
import json
import os
import select
import signal
import struct
import subprocess
import sys
import tempfile
import termios
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from connectors.recording import Conclusion, read_recording
from monitor.attach import server as attach_server
from monitor.cli import main

ROOT = Path(__file__).parents[1]
SAFETY_S = 30.0
"""Only a net: nothing waits this long when all is well."""

PROGRAM = [sys.executable, "-m", "monitor"]


class Place:
    """A runtime directory of its own, and the processes started in it."""

    def __init__(self, directory: Path) -> None:
        self.directory = directory
        self.environ = {
            **os.environ, "XDG_RUNTIME_DIR": str(directory), "XDG_STATE_HOME": str(directory / "state"),
            "PYTHONPATH": str(ROOT), "TERM": "xterm-256color", "LANG": "C.UTF-8", "PYTHON_COLORS": "0",
        }  # fmt: skip
        self.started: list[subprocess.Popen[bytes]] = []

    def demo(self, *words: str) -> subprocess.Popen[bytes]:
        """Start a simulated night without a screen, and wait until it offers itself."""
        demo = subprocess.Popen(  # noqa: S603 -- our own interpreter
            [*PROGRAM, "demo", *words, "--headless"], env=self.environ, stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, cwd=ROOT,
        )  # fmt: skip
        self.started.append(demo)
        end = time.monotonic() + SAFETY_S
        while not self.socket(demo):
            assert time.monotonic() < end, "it never offered itself"
            assert demo.poll() is None, demo.stdout
            time.sleep(0.02)
        return demo

    def socket(self, process: subprocess.Popen[bytes]) -> list[Path]:
        """Its socket, if there is one."""
        return list(self.directory.glob(f"strandwatch/*-{process.pid}.sock"))

    def attach(self, *words: str) -> subprocess.CompletedProcess[str]:
        """Run the command without a terminal."""
        return subprocess.run(  # noqa: S603 -- our own interpreter
            [*PROGRAM, "attach", *words], env=self.environ, stdin=subprocess.DEVNULL, capture_output=True, text=True,
            timeout=SAFETY_S, check=False, cwd=ROOT,
        )  # fmt: skip

    def close(self) -> None:
        """End everything."""
        for process in self.started:
            if process.poll() is None:
                process.kill()
            process.communicate()


@pytest.fixture
def place() -> Iterator[Place]:
    """Nothing runs yet."""
    with tempfile.TemporaryDirectory(prefix="sw-") as directory:
        started = Place(Path(directory))
        yield started
        started.close()


class Terminal:
    """An `attach` on a pseudo-terminal of its own."""

    def __init__(self, place: Place, *words: str, rows: int = 24, columns: int = 80) -> None:
        self.fd, theirs = os.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
        self.name = os.ttyname(theirs).removeprefix("/dev/")
        self.process = subprocess.Popen(  # noqa: S603 -- our own interpreter
            [*PROGRAM, "attach", *words], env=place.environ, stdin=theirs, stdout=theirs, stderr=theirs,
            start_new_session=True, cwd=ROOT,
        )  # fmt: skip
        place.started.append(self.process)
        os.close(theirs)
        self.seen = b""

    def read_until(self, *words: bytes) -> None:
        """Take what it writes until one of these words is seen."""
        end = time.monotonic() + SAFETY_S
        while not any(word in self.seen for word in words):
            assert time.monotonic() < end, f"{words!r} never came: {self.seen[-3000:]!r}"
            if select.select([self.fd], [], [], 0.1)[0]:
                with suppress(OSError):
                    self.seen += os.read(self.fd, 65536)

    def press(self, keys: bytes) -> None:
        """Press keys; what was seen before is forgotten."""
        self.seen = b""
        os.write(self.fd, keys)

    def leave(self) -> int:
        """Leave; give the exit status."""
        self.press(b"q")
        self.read_until(b"screen left", b"has ended")
        return self.process.wait(SAFETY_S)


def test_nothing_to_attach_to_is_told(place: Place) -> None:
    """With no watch running, the owner learns so, and how to start one; a list of none is no failure."""
    alone = place.attach()
    assert alone.returncode == 2
    assert "no watch of yours is running" in alone.stderr
    listed = place.attach("--list")
    assert (listed.returncode, listed.stdout) == (0, "no watch of yours is running\n")
    named = place.attach(str(place.directory / "x.sock"))
    assert named.returncode == 2


def test_of_several_the_owner_says_which(place: Place) -> None:
    """Several watches are listed with their sources; a name, its beginning, or a process number tells them apart."""
    one, two = place.demo("left-idle", "--speed", "60"), place.demo("healthy-night", "--speed", "60")
    names = [place.socket(process)[0].stem for process in (one, two)]
    listed = place.attach("--list")
    assert sorted(listed.stdout.splitlines()) == sorted(
        [
            f"{names[0]}: demo machine (invented), from simulated machine, left-idle",
            f"{names[1]}: demo machine (invented), from simulated machine, healthy-night",
        ]
    )
    for unclear in ([], ["demo-machine"]):
        told = place.attach(*unclear)
        assert told.returncode == 2
        assert "2 watches fit" in told.stderr
        assert f"\n  {names[0]}: " in told.stderr
    assert "is called 'garage'. Running:" in place.attach("garage").stderr
    for clear in (names[0], str(one.pid), str(place.socket(one)[0])):
        assert "there is no terminal" in place.attach(clear).stderr


def test_screens_come_and_go_and_the_watch_goes_on(place: Place, tmp_path: Path) -> None:
    """Two terminals show one watch; leaving, and closing a terminal, ends a screen and never the watch."""
    recording = tmp_path / "night.jsonl"
    demo = place.demo("left-idle", "--speed", "60", "--record", str(recording))
    small, large = Terminal(place), Terminal(place, "demo", rows=40, columns=120)
    for screen in (small, large):
        screen.read_until(b"left-i")
        screen.read_until(b"hot path")
    assert small.leave() == 0
    os.close(large.fd)
    large.process.wait(SAFETY_S)
    assert demo.poll() is None
    again = Terminal(place)
    again.read_until(b"hot path")
    assert again.leave() == 0
    demo.send_signal(signal.SIGTERM)
    out, _ = demo.communicate(timeout=SAFETY_S)
    assert demo.returncode == 0
    assert b"ended by SIGTERM" in out
    assert not place.socket(demo)


def test_a_key_on_an_attached_screen_acknowledges_and_is_recorded_with_its_terminal(
    place: Place, tmp_path: Path
) -> None:
    """The key that says `seen it` reaches the watch; the recording tells from which terminal and when."""
    recording = tmp_path / "night.jsonl"
    demo = place.demo("link-drop-outs", "--speed", "900", "--record", str(recording))
    screen = Terminal(place)
    screen.read_until(b"WARNING", b"CAUTION", b"ALARM")
    end = time.monotonic() + SAFETY_S
    asked: list[Conclusion] = []
    while not asked:
        assert time.monotonic() < end
        screen.press(b"k")
        time.sleep(0.3)
        told = [line for line in read_recording(recording).items() if isinstance(line, Conclusion)]
        asked = [line for line in told if line.kind == "acknowledge"]
    assert asked[0].data["actor"] == f"owner at {screen.name}"
    assert asked[0].time_s > 0
    assert screen.leave() == 0
    assert demo.poll() is None


def test_a_watch_that_is_killed_is_told_on_the_screen_within_seconds(place: Place) -> None:
    """Killed without a word, the watch is called ended on every screen; leaving then says so again."""
    demo = place.demo("left-idle", "--speed", "60")
    screen = Terminal(place, rows=40, columns=120)
    screen.read_until(b"hot path")
    screen.seen = b""
    demo.kill()
    begin_s = time.monotonic()
    screen.read_until(b"ENDED")
    assert time.monotonic() - begin_s < 3.0
    screen.read_until(b"is gone without a word")
    assert screen.leave() == 0
    assert b"the watch has ended: its process" in screen.seen
    assert "no watch of yours" in place.attach("--list").stdout
    assert not place.socket(demo)


def test_a_watch_that_hangs_is_told_to_who_wants_to_attach(place: Place) -> None:
    """A stopped process still holds its socket: attaching says that it does not answer, and waits for seconds only."""
    demo = place.demo("left-idle", "--speed", "60")
    demo.send_signal(signal.SIGSTOP)
    begin_s = time.monotonic()
    told = place.attach("--list")
    assert "does not answer" in told.stdout
    assert time.monotonic() - begin_s < 10.0
    demo.send_signal(signal.SIGCONT)


def test_a_watch_where_no_socket_can_be_says_so_once_and_goes_on(place: Place) -> None:
    """Without a usable directory the watch runs as ever, and one line tells that no screen can be attached."""
    (place.directory / "strandwatch").write_text("in the way")
    (place.directory / "state").write_text("in the way")
    watch = subprocess.Popen(  # noqa: S603 -- our own interpreter
        [*PROGRAM, "demo", "--json", "--speed", "60"], env=place.environ, stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT,
    )  # fmt: skip
    assert watch.stderr is not None
    for line in iter(watch.stderr.readline, ""):
        if "no screen can be attached: " in line:
            break
    else:
        pytest.fail("it was never told")
    time.sleep(attach_server.TEND_S + 1.0)  # it tries again meanwhile, and has nothing new to say
    watch.send_signal(signal.SIGTERM)
    out, err = watch.communicate(timeout=SAFETY_S)
    assert watch.returncode == 0
    assert err == ""
    assert json.loads(out.splitlines()[-1])["reason"] == "ended by SIGTERM"


def test_help_answers_at_once(capsys: pytest.CaptureFixture[str]) -> None:
    """Its help says what it does and what leaving does."""
    with pytest.raises(SystemExit):
        main(["attach", "--help"])
    assert "Leaving does not end it" in capsys.readouterr().out
