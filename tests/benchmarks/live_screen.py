"""What a live watch with its screen costs: `python -m tests.benchmarks.live_screen [SECONDS]`.

A simulated machine reports at 4 Hz in real time; engine and screen share a process on a terminal of 120 × 40.
Printed are the share of one core, resident memory, and the time from the start of the demo to its first frame.
"""

import asyncio
import fcntl
import os
import pty
import struct
import sys
import termios
import threading
import time
from dataclasses import dataclass, field
from typing import Final

import psutil

from tests.benchmarks.figures import Figure, count, of_this_machine, show

COLUMNS, ROWS = 120, 40
WARM_UP_S = 5.0
FIRST_FRAME = "waiting for the first data"
"""The demo's machine reports for the first time a second after it begins."""

FIRST_WORDS = "hot path"
"""The first frame with data in it."""
MEBIBYTE = 1 << 20
LONGEST_START_S = 30.0
FIGURES: Final[tuple[Figure, ...]] = (
    of_this_machine("live at 4 Hz with the screen at 120 × 40", "% of one core", at_most=5.0),
    count("memory resident", "MiB", at_most=100.0),
    of_this_machine("from start to first frame", "s", at_most=0.8),
)


@dataclass
class Terminal:
    """A child on a pseudo-terminal whose output is read all the time."""

    command: list[str]
    pid: int = 0
    master: int = -1
    seen: bytearray = field(default_factory=bytearray)
    began_s: float = 0.0

    def __enter__(self) -> "Terminal":
        self.began_s = time.perf_counter()
        self.pid, self.master = pty.fork()
        if self.pid == 0:
            os.environ.update(TERM="xterm-256color", COLUMNS=str(COLUMNS), LINES=str(ROWS), LANG="C.UTF-8")
            os.execvp(self.command[0], self.command)  # noqa: S606 -- a child of our own, no shell
        fcntl.ioctl(self.master, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
        threading.Thread(target=self._read, args=(self.master,), daemon=True).start()
        return self

    def _read(self, master: int) -> None:
        while True:
            try:
                data = os.read(master, 1 << 16)
            except OSError:
                return
            if not data:
                return
            self.seen += data

    def press(self, key: str) -> None:
        """Type a character."""
        os.write(self.master, key.encode())

    def wait_for(self, words: str) -> float:
        """Seconds from the start until the screen shows `words`."""
        while words.encode() not in self.seen:
            if time.perf_counter() - self.began_s > LONGEST_START_S:
                raise TimeoutError(f"no {words!r} on the screen: {bytes(self.seen[-2000:])!r}")
            time.sleep(0.005)
        return time.perf_counter() - self.began_s

    def __exit__(self, *_: object) -> None:
        process = psutil.Process(self.pid)
        process.terminate()
        os.waitpid(self.pid, 0)


def measure(seconds: float) -> dict[str, float]:
    """Figures of one run."""
    with Terminal([sys.executable, "-m", "monitor", "demo", "--speed", "1"]) as demo:
        first_frame_s = demo.wait_for(FIRST_FRAME)
    with Terminal([sys.executable, "-m", "tests.benchmarks.live_screen", "--child"]) as live:
        live.wait_for(FIRST_WORDS)
        process = psutil.Process(live.pid)
        time.sleep(WARM_UP_S)
        before, began_s = process.cpu_times(), time.perf_counter()
        time.sleep(seconds)
        after, took_s = process.cpu_times(), time.perf_counter() - began_s
        resident = process.memory_info().rss
    busy_s = after.user + after.system - before.user - before.system
    return {
        "live at 4 Hz with the screen at 120 × 40": 100 * busy_s / took_s,
        "memory resident": resident / MEBIBYTE,
        "from start to first frame": first_frame_s,
    }


def _child() -> None:
    from connectors.simulated_link import SimulatedLink  # noqa: PLC0415 -- the parent must not pay for these
    from connectors.simulated_scenarios import SCENARIOS  # noqa: PLC0415
    from monitor.config import demo_profile  # noqa: PLC0415
    from monitor.core.engine import Engine  # noqa: PLC0415
    from monitor.running import run_beside  # noqa: PLC0415
    from monitor.session import Session  # noqa: PLC0415
    from monitor.tui.app import show  # noqa: PLC0415

    link = SimulatedLink(SCENARIOS["healthy-night"], seed=1, period_s=0.25, speed=1.0)
    session = Session(link, Engine(demo_profile().parameters), name="simulated machine")
    session.keep_history()
    asyncio.run(run_beside(session, show, instead=lambda: session.stop("the screen failed")))


def main() -> None:
    """Print the figures, or be the child that is measured."""
    if "--child" in sys.argv:
        _child()
        return
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 30.0
    sys.stdout.write(show(f"live with screen, {seconds:g} s", FIGURES, measure(seconds)))


if __name__ == "__main__":
    main()
