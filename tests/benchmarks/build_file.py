"""How fast build files are read, and with how much memory: `python -m tests.benchmarks.build_file [--short]`.

A plain file of one machine, nine lines in ten a move with feed; times are of one core and the best of some rounds. The
ratios compare the whole reading, schedule and times included, with loops that only take the same file apart: one that
splits every line into words, and one that also makes a float of every word.
"""

import math
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import numpy as np

from monitor.build_file import BuildSchedule, MotionSettings, read_build_file
from tests.benchmarks.figures import Figure, count, of_this_machine, ratio, show
from tests.benchmarks.paired import best_s

LINES, LONG_LINES, SHORT_LINES = 1_000_000, 5_000_000, 200_000
ROUNDS: Final = 3
_LAYER, _INPUT = 1200, 3600  # moves
FIGURES: Final[tuple[Figure, ...]] = (
    ratio("speed of reading, schedule included", "splitting lines and making floats of words", at_least=1.6),
    ratio("speed of reading, to the bare least", "splitting lines alone", at_least=0.2),
    of_this_machine("lines read", "million/s", at_least=0.8),
    count("memory at most for the long file", "MiB, all of the process", at_most=400.0),
)

_PEAK: Final = """
import sys
from monitor.build_file import MotionSettings, read_build_file
with open(sys.argv[1], "rb") as file:
    read_build_file(file, MotionSettings())
with open("/proc/self/status") as status:
    print(next(line.split()[1] for line in status if line.startswith("VmHWM")))
"""


def invented_lines(count: int) -> Iterator[str]:
    """Lines of a build of six inputs: a walk that feeds, with retractions, layers, arcs and changes of the tool."""
    random = np.random.default_rng(3)
    length, turn, kind = random.gamma(1.6, 0.9, count) + 0.05, random.normal(0.0, 0.35, count), random.random(count)
    heading = np.cumsum(turn)
    x, y = 100 + 60 * np.cos(heading) + length, 100 + 60 * np.sin(heading * 0.7) + length
    fed_mm = 0.0
    yield "G21\nG90\nM82\nM140 S60\nM104 S215\nM109 S215\nG28\nG92 E0\nT0\nG1 F1800\n"
    rows = zip(x.tolist(), y.tolist(), length.tolist(), kind.tolist(), strict=True)
    for number, (x_mm, y_mm, length_mm, chance) in enumerate(rows, 1):
        if number % _LAYER == 0:
            fed_mm = 0.0
            yield f"; layer\nG92 E0\nG1 Z{number / _LAYER * 0.2:.3f} F1200\nG1 F1800\n"
        if number % _INPUT == 0:
            yield f"T{number // _INPUT % 6}\nG4 P250\nG1 F1800\n"
        if chance < 0.007:
            yield f"G1 E{fed_mm - 0.8:.5f} F2400\nG0 X{x_mm:.3f} Y{y_mm:.3f} F9000\nG1 E{fed_mm:.5f} F2400\nG1 F1800\n"
            continue
        fed_mm += 0.033 * length_mm
        yield f"G1 X{x_mm:.3f} Y{y_mm:.3f} E{fed_mm:.5f}\n"


def write_file(path: Path, lines: int) -> int:
    """Write a file of about so many lines, the same million over and over; returns how many there are."""
    once = "".join(invented_lines(min(lines, LINES) * 97 // 100)).encode()
    repeats = math.ceil(lines / (once.count(b"\n") or 1) - 0.05)
    with path.open("wb") as file:
        for _ in range(max(repeats, 1)):
            file.write(once)
    return once.count(b"\n") * max(repeats, 1)


def _split(path: Path) -> None:
    with path.open() as file:
        for line in file:
            line.split()


def _floats(path: Path) -> None:
    with path.open() as file:
        for line in file:
            for word in line.split():
                try:  # noqa: SIM105 -- `suppress` would be what is measured
                    float(word[1:])
                except ValueError:
                    pass


def _read(path: Path) -> BuildSchedule:
    with path.open("rb") as file:
        return read_build_file(file, MotionSettings())


def peak_mib(path: Path) -> float:
    """Most memory that a process of its own needs for reading a file, interpreter and libraries included [MiB]."""
    command = [sys.executable, "-c", _PEAK, str(path)]
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run(command, capture_output=True, text=True, check=True, env=environment)  # noqa: S603 -- ours
    return int(done.stdout) / 1024


def measure(*, is_short: bool = False) -> dict[str, float]:
    """Figures of one run."""
    rounds = 2 if is_short else ROUNDS
    with tempfile.TemporaryDirectory() as directory:
        path = Path(directory) / "invented"
        lines = write_file(path, SHORT_LINES if is_short else LINES)
        read_s, split_s, floats_s = best_s(rounds, lambda: _read(path), lambda: _split(path), lambda: _floats(path))
        write_file(path, LINES if is_short else LONG_LINES)
        return {
            "speed of reading, schedule included": floats_s / read_s,
            "speed of reading, to the bare least": split_s / read_s,
            "lines read": lines / read_s / 1e6,
            "memory at most for the long file": peak_mib(path),
        }


def main() -> None:
    """Print the figures."""
    sys.stdout.write(show("build files", FIGURES, measure(is_short="--short" in sys.argv)))


if __name__ == "__main__":
    main()
