"""`replay` on a real pseudo-terminal: the screen, its keys, and what is left on the terminal after it."""

import fcntl
import os
import select
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

RECORDING = Path(__file__).parent.parent / "replays" / "tangle.jsonl.zst"
SAFETY_S = 60.0
"""Only a net: nothing waits this long when all is well."""


class Terminal:
    """A replay in a process of its own on a terminal of 80 × 24."""

    def __init__(self, *words: str) -> None:
        self.master, theirs = os.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        self.process = subprocess.Popen(  # noqa: S603 -- our own interpreter
            [sys.executable, "-m", "monitor", "replay", str(RECORDING), *words],
            stdin=theirs, stdout=theirs, stderr=theirs, start_new_session=True,
            env={**os.environ, "TERM": "xterm-256color", "LANG": "C.UTF-8", "LC_ALL": "C.UTF-8"},
        )  # fmt: skip
        os.close(theirs)
        self.seen = b""

    def read_until(self, word: str) -> None:
        """Take what is written until a word is seen."""
        end = time.monotonic() + SAFETY_S
        while word.encode() not in self.seen:
            assert time.monotonic() < end, f"{word!r} never came: {self.seen[-1500:]!r}"
            if select.select([self.master], [], [], 0.1)[0]:
                self.seen += os.read(self.master, 65536)

    def press(self, keys: bytes) -> None:
        """Forget what was seen, and press keys."""
        self.seen = b""
        os.write(self.master, keys)


@pytest.fixture
def terminal() -> Iterator[Terminal]:
    """Open a replay, and end it whatever happens."""
    opened = Terminal()
    yield opened
    if opened.process.poll() is None:
        opened.process.kill()
    opened.process.wait()
    os.close(opened.master)


def test_a_replay_is_moved_by_keys_and_ends_with_its_verdict(terminal: Terminal) -> None:
    """It plays at once, jumps to the end and to the alert before it, and tells after the screen what was compared."""
    terminal.read_until("PLAYING 60×")
    terminal.press(b"\x1b[F")  # End
    terminal.read_until("the recording ends here")
    terminal.press(b"b")
    terminal.read_until("strand not moving as it should")
    terminal.press(b"q")
    terminal.read_until("conclusions: as recorded then")
    assert "recording of demo machine (invented)" in terminal.seen.decode()
    assert terminal.process.wait(SAFETY_S) == 0


def test_a_replay_may_be_left_before_it_is_read(terminal: Terminal) -> None:
    """Ctrl-C at the first frame: at once, in order, and it says what it cannot say."""
    terminal.read_until("reading on")
    terminal.press(b"\x03")
    terminal.read_until("were not compared")
    assert terminal.process.wait(SAFETY_S) == 0
