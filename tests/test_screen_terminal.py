"""The screen on a real pseudo-terminal: signals, a terminal that goes away, one that takes nothing more."""

import fcntl
import os
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SAFETY_S = 20.0
"""Only a net: nothing waits this long when all is well."""

CHILD = """
import asyncio, os, signal, sys
from contextlib import suppress
from dataclasses import replace
from tests import screen_samples as samples
from monitor.tui.app import show

async def main():
    watch = samples.FakeWatch(samples.healthy())

    async def feed():
        n = 0
        while True:
            await asyncio.sleep(0.01)
            n += 1
            strands = tuple(replace(s, label=f"round {n}", temp_c=s.temp_c + n % 50) for s in watch.latest.strands)
            watch.latest = "broken" if "broken" in sys.argv else replace(watch.latest, strands=strands)
            os.write(int(sys.argv[1]), b".")

    fed = asyncio.create_task(feed())
    shown = asyncio.create_task(show(watch, hz=80))
    if "cancelled" in sys.argv:
        await asyncio.sleep(0.5)
        shown.cancel()
    if "lingers" in sys.argv:
        signal.signal(signal.SIGHUP, signal.SIG_IGN)  # what is there before and after the screen, as a watch has it
    try:
        await shown
        if "lingers" in sys.argv:  # as a watch that closes its recording
            with suppress(OSError):
                os.write(1, b"still at work")
            await asyncio.sleep(0.5)
        os.write(int(sys.argv[1]), b"returned")
    except asyncio.CancelledError:
        os.write(int(sys.argv[1]), b"was cancelled")
    finally:
        fed.cancel()

asyncio.run(main())
"""


PATHS = os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])
"""Those of the tests stay: what a child writes to a port is noted there."""


def _without_size() -> dict[str, str]:
    """The environment without the size of somebody else's terminal, which tests run in parallel get."""
    return {name: value for name, value in os.environ.items() if name not in {"COLUMNS", "LINES"}}


class Child:
    """A screen in a process of its own on a pseudo-terminal, whose watch writes a dot each time it goes round."""

    def __init__(self, *words: str) -> None:
        self.terminal, theirs = os.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))
        self.settings = termios.tcgetattr(theirs)
        self.told, tell = os.pipe()
        self.process = subprocess.Popen(  # noqa: S603 -- our own interpreter and text
            [sys.executable, "-c", CHILD, str(tell), *words],
            stdin=theirs, stdout=theirs, stderr=theirs, pass_fds=(tell,), start_new_session=True, cwd=ROOT,
            env={**_without_size(), "TERM": "xterm-256color", "PYTHON_COLORS": "0", "PYTHONPATH": PATHS},
        )  # fmt: skip
        self.theirs = theirs
        os.close(tell)
        self.seen = b""

    def read_until(self, word: bytes) -> None:
        """Take what the screen writes until a word is seen."""
        end = time.monotonic() + SAFETY_S
        while word not in self.seen:
            assert time.monotonic() < end, f"{word!r} never came: {self.seen[-2000:]!r}"
            if select.select([self.terminal], [], [], 0.1)[0]:
                self.seen += os.read(self.terminal, 65536)

    def resize(self, lines: int, columns: int) -> None:
        """Give the terminal another size, and tell the screen as a terminal does."""
        fcntl.ioctl(self.theirs, termios.TIOCSWINSZ, struct.pack("HHHH", lines, columns, 0, 0))
        self.process.send_signal(signal.SIGWINCH)

    def drain(self) -> None:
        """Take what the screen has written so far."""
        for _ in range(200):
            if not select.select([self.terminal], [], [], 0.0)[0]:
                return
            self.seen += os.read(self.terminal, 65536)

    def drawn_small(self) -> bytes:
        """Wait until no word fits on the screen any more; give what was seen before, which is then forgotten."""
        end, before = time.monotonic() + SAFETY_S, b""
        while True:
            self.drain()
            before, self.seen = before + self.seen, b""
            self.rounds(20)
            self.drain()
            if b"round" not in self.seen:
                return before
            assert time.monotonic() < end, f"words on a screen of one cell: {self.seen[-500:]!r}"

    def rounds(self, at_least: int) -> None:
        """Wait until the watch has gone round that often from now on."""
        end = time.monotonic() + SAFETY_S
        rounds = 0
        while rounds < at_least:
            ready = select.select([self.told], [], [], max(0.0, end - time.monotonic()))[0]
            assert ready, f"the watch stood still after {rounds} rounds"
            rounds += len(os.read(self.told, 4096))

    def last_words(self) -> bytes:
        """What it said in the end, when it has ended."""
        self.process.wait(SAFETY_S)
        told = b""
        while part := os.read(self.told, 65536):
            told += part
        return told.lstrip(b".")

    def close(self) -> None:
        """End it whatever happened."""
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        for descriptor in (self.terminal, self.theirs, self.told):
            with suppress(OSError):
                os.close(descriptor)


@pytest.fixture
def child(request: pytest.FixtureRequest) -> Iterator[Child]:
    """A running screen that has drawn its first frame."""
    started = Child(*getattr(request, "param", ()))
    yield started
    started.close()


def assert_restored(child: Child) -> None:
    """The alternate screen is left, the cursor is back, and the line is set as before."""
    child.read_until(b"\x1b[?1049l")
    child.read_until(b"\x1b[?25h")
    assert child.seen.rindex(b"\x1b[?1049l") > child.seen.rindex(b"\x1b[?1049h")
    assert termios.tcgetattr(child.theirs) == child.settings


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_a_signal_restores_the_terminal_and_returns(child: Child, number: signal.Signals) -> None:
    """Told to end, the screen puts the terminal back and `show` returns as if the owner had left."""
    child.read_until(b"no alerts")
    assert b"\x1b[?1049h" in child.seen
    child.process.send_signal(number)
    assert_restored(child)
    assert child.last_words().endswith(b"returned")
    assert child.process.returncode == 0


def test_a_terminal_that_goes_away_without_a_signal_ends_the_screen(child: Child) -> None:
    """No SIGHUP comes without a controlling terminal; the screen notices by itself and does not spin."""
    child.read_until(b"no alerts")
    os.close(child.theirs)
    os.close(child.terminal)
    assert child.last_words().endswith(b"returned")
    assert child.process.returncode == 0


@pytest.mark.parametrize("child", [("lingers",)], indirect=True)
@pytest.mark.parametrize("left_for", [b"", b"\x1b[?1049l", b"still at work"], ids=["asked", "leaving", "left"])
def test_a_terminal_closed_while_the_screen_is_left_ends_the_process(child: Child, left_for: bytes) -> None:
    """Ctrl-C, then the terminal closes: its SIGHUP and SIGCONT, as Linux sends them (from memory), begin nothing anew.

    The library would begin its reading of keys again, in a thread that nobody ends.
    """
    child.read_until(b"no alerts")
    os.write(child.terminal, b"\x03")
    child.read_until(left_for)
    os.close(child.theirs)
    os.close(child.terminal)
    child.process.send_signal(signal.SIGHUP)
    child.process.send_signal(signal.SIGCONT)
    assert child.last_words().endswith(b"returned")
    assert child.process.returncode == 0


def test_going_on_without_having_been_stopped_changes_nothing(child: Child) -> None:
    """SIGCONT on a running screen does not begin the screen, and its reader of keys, a second time."""
    child.read_until(b"no alerts")
    child.process.send_signal(signal.SIGCONT)
    child.rounds(20)
    os.write(child.terminal, b"\x03")
    assert_restored(child)
    assert child.seen.count(b"\x1b[?1049h") == 1
    assert child.last_words().endswith(b"returned")


def test_a_stopped_screen_comes_back(child: Child) -> None:
    """SIGTSTP puts the terminal back and stops the process; SIGCONT brings the screen again, and keys count."""
    child.read_until(b"no alerts")
    child.process.send_signal(signal.SIGTSTP)
    assert_restored(child)
    assert os.WIFSTOPPED(os.waitpid(child.process.pid, os.WUNTRACED)[1])
    child.seen = b""
    child.process.send_signal(signal.SIGCONT)
    child.read_until(b"\x1b[?1049h")
    child.rounds(20)
    os.write(child.terminal, b"\x03")
    assert_restored(child)
    assert child.last_words().endswith(b"returned")
    assert child.process.returncode == 0


def test_a_terminal_made_one_cell_large_and_large_again(child: Child) -> None:
    """Nothing fails at 1 × 1, the watch goes on, and the whole screen comes back with the room for it."""
    child.read_until(b"no alerts")
    for lines, columns in ((1, 1), (1, 200), (200, 1), (1, 1)):
        child.resize(lines, columns)
        child.rounds(20)
    before = child.drawn_small()
    child.resize(40, 120)
    child.read_until(b"no alerts")
    child.seen = before + child.seen
    child.process.send_signal(signal.SIGTERM)
    assert_restored(child)
    assert child.last_words().endswith(b"returned")
    assert child.process.returncode == 0


def test_a_stalled_terminal_holds_up_nobody(child: Child) -> None:
    """When the line takes nothing more, a watch in the same process goes on, and a signal still ends the screen."""
    child.read_until(b"no alerts")
    child.rounds(300)  # seconds of drawing, read by nobody: many times what its buffers hold
    child.process.send_signal(signal.SIGTERM)
    assert child.last_words().endswith(b"returned")
    assert child.process.returncode == 0


@pytest.mark.parametrize("child", [("broken",)], indirect=True)
def test_a_failure_is_raised_after_the_terminal_is_restored(child: Child) -> None:
    """The traceback comes on the restored terminal, and the process fails."""
    assert_restored(child)
    child.read_until(b"AttributeError: 'str' object has no attribute")
    assert b"returned" not in child.last_words()
    assert child.process.returncode == 1
    assert child.seen.rindex(b"AttributeError") > child.seen.rindex(b"\x1b[?1049l")


@pytest.mark.parametrize("child", [("cancelled",)], indirect=True)
def test_cancelling_restores_the_terminal_and_is_not_lost(child: Child) -> None:
    """A cancelled `show` puts the terminal back and is still cancelled afterwards."""
    assert_restored(child)
    assert child.last_words().endswith(b"was cancelled")
