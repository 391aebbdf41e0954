"""What a screen costs beside its share of a core: `python -m tests.benchmarks.screen_upkeep [HOURS]`.

On a terminal of 120 × 40: bytes a second to it while nothing changes but clocks, and on a simulated night at 4 Hz; how
memory grows over a night at speed, with every page drawn in turn; how soon a key is answered while a recording is
replayed at 960 times.
"""

import asyncio
import statistics
import sys
import time
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Final

import psutil

from monitor.core.engine_input import EngineInput
from tests.benchmarks.figures import Figure, count, of_this_machine, show
from tests.benchmarks.live_screen import FIRST_WORDS, MEBIBYTE, Terminal

WATCHED_S = 20.0
WARM_UP_S = 5.0
SPEED = 2000.0
HOUR_S = 3600.0
LONGEST_ANSWER_S = 5.0
PAGES = "v4capv?"
FIGURES: Final[tuple[Figure, ...]] = (
    count("to the terminal while nothing changes but clocks", "bytes a second", at_most=250.0),
    count("to the terminal on a simulated night at 4 Hz", "bytes a second", at_most=650.0),
    of_this_machine("memory grown at speed", "MiB an hour of the machine's time", at_most=2.0),
    of_this_machine("until a key is answered at 960 ×, median", "ms", at_most=50.0),
    of_this_machine("until a key is answered at 960 ×, worst of 20", "ms", at_most=50.0),
)
"""Bounds of counts are what was measured and half as much again; the others are what an owner is promised."""
RECORDING = Path(__file__).parent.parent.parent / "replays" / "left-idle.jsonl.zst"


def measure(hours: float) -> dict[str, float]:
    """Figures of one run."""
    still, live = _bytes_per_s("--still", after_s=70.0), _bytes_per_s("--night", after_s=WARM_UP_S)
    middle_s, worst_s = _answers()
    return {
        "to the terminal while nothing changes but clocks": still,
        "to the terminal on a simulated night at 4 Hz": live,
        "memory grown at speed": _growth(hours),
        "until a key is answered at 960 ×, median": 1000 * middle_s,
        "until a key is answered at 960 ×, worst of 20": 1000 * worst_s,
    }


def _bytes_per_s(kind: str, after_s: float) -> float:
    """Bytes a second, from so long after the first frame on: in the first minute idle times still count seconds."""
    with Terminal([sys.executable, "-m", "tests.benchmarks.screen_upkeep", kind]) as screen:
        screen.wait_for(FIRST_WORDS)
        time.sleep(after_s)
        before, began_s = len(screen.seen), time.perf_counter()
        time.sleep(WATCHED_S)
        return (len(screen.seen) - before) / (time.perf_counter() - began_s)


def _growth(hours: float) -> float:
    """MiB an hour from a quarter of the night on; before that, caches and the history fill."""
    with Terminal([sys.executable, "-m", "monitor", "demo", "--no-record", "--speed", str(SPEED)]) as screen:
        screen.wait_for(FIRST_WORDS)
        process, began_s = psutil.Process(screen.pid), time.perf_counter()
        half = 0
        for at in range(int(hours * HOUR_S / SPEED * 4)):
            screen.press(PAGES[at % len(PAGES)])
            time.sleep(0.25)
            if time.perf_counter() - began_s >= hours * HOUR_S / SPEED / 4 and not half:
                half, half_at_s = process.memory_info().rss, time.perf_counter()
        passed_h = (time.perf_counter() - half_at_s) * SPEED / HOUR_S
        return (process.memory_info().rss - half) / MEBIBYTE / passed_h


def _answers() -> tuple[float, float]:
    with Terminal([sys.executable, "-m", "monitor", "replay", str(RECORDING), "--speed", "960"]) as screen:
        screen.wait_for(FIRST_WORDS)
        time.sleep(WARM_UP_S)
        took_s = [_answer_s(screen, "?", b"cautions" if at % 2 == 0 else b"hot path") for at in range(20)]
    return statistics.median(took_s), max(took_s)


def _answer_s(screen: Terminal, key: str, words: bytes) -> float:
    """Press a key; how long until the words of the page it opens come [s]."""
    time.sleep(0.3)
    before, began_s = len(screen.seen), time.perf_counter()
    screen.press(key)
    while words not in screen.seen[before:]:
        if time.perf_counter() - began_s > LONGEST_ANSWER_S:
            raise TimeoutError(f"no {words!r} after {key!r}: {bytes(screen.seen[-500:])!r}")
        time.sleep(0.001)
    return time.perf_counter() - began_s


def _child(kind: str) -> None:
    from connectors.simulated_link import SimulatedLink  # noqa: PLC0415 -- the parent must not pay for these
    from connectors.simulated_scenarios import SCENARIOS  # noqa: PLC0415
    from monitor.config import demo_profile  # noqa: PLC0415
    from monitor.core.engine import Engine  # noqa: PLC0415
    from monitor.running import run_beside  # noqa: PLC0415
    from monitor.session import Session  # noqa: PLC0415
    from monitor.session_parts import Source  # noqa: PLC0415
    from monitor.tui.app import show  # noqa: PLC0415

    night = SimulatedLink(SCENARIOS["healthy-night"], seed=1, period_s=0.25, speed=1.0)
    source: Source = Still() if kind == "--still" else night
    session = Session(source, Engine(demo_profile().parameters), name="simulated machine")
    session.keep_history()
    asyncio.run(run_beside(session, show, instead=lambda: session.stop("the screen failed")))


class Still:
    """A machine at 4 Hz on which nothing ever changes."""

    async def events(self) -> AsyncIterator[EngineInput]:
        """Give the same sample again and again."""
        from connectors.telemetry import Execution, LinkChange, Sample  # noqa: PLC0415

        values = {"temp_c:cold_end": 35.0, "temp_c:manifold": 195.0, "temp_c:nozzle": 225.0}
        values |= {f"fed_mm:{number}": 100.0 for number in range(1, 7)}
        yield LinkChange(0.0, available=True, reason="still")
        began_s = time.monotonic()
        while True:
            yield Sample(time.monotonic() - began_s, values, Execution.READY)
            await asyncio.sleep(0.25)


def main() -> None:
    """Print the figures, or be the child that is measured."""
    if sys.argv[1:] and sys.argv[1].startswith("--"):
        _child(sys.argv[1])
        return
    hours = float(sys.argv[1]) if len(sys.argv) > 1 else 8.0
    sys.stdout.write(show(f"the screen over {hours:g} h", FIGURES, measure(hours)))


if __name__ == "__main__":
    main()
