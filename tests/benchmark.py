"""All benchmarks as one table, of one run on one machine: `python -m tests.benchmark [--short] [--check]`.

Machines are noisy: compare ratios, not times. With `--check` the exit status is 1 when a ratio or a count is worse than
its bound by more than twice; times are never checked. Nothing is stored.
"""

import argparse
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import NamedTuple

from tests.benchmarks import (
    archive,
    build_file,
    live_screen,
    looking_ahead,
    notifiers_down,
    planning,
    recording_speed,
    screen_upkeep,
    seeking,
    stalls,
    step_tests,
    whole_engine,
)
from tests.benchmarks.figures import FAR_OFF, Figure, Kind, Measured, far_off, lines, measured


class Section(NamedTuple):
    """One benchmark: its part of the table, and how it is run."""

    title: str
    figures: Sequence[Figure]
    measure: Callable[[], Mapping[str, float]]


def short() -> Iterator[Section]:
    """What every change is held against: some 50 s of one core."""
    yield Section("judging 1.5 h at 1 Hz", whole_engine.FIGURES, lambda: whole_engine.measure(1.5, rounds=2))
    yield Section("looking ahead, and 2 h", looking_ahead.FIGURES, lambda: looking_ahead.measure(2.0, rounds=2))
    yield Section("stalls, judged by cases of another hand", stalls.FIGURES, lambda: stalls.measure(5.0, 5))
    yield Section("live with screen, 4 s", live_screen.FIGURES, lambda: live_screen.measure(4.0))
    yield Section("build files", build_file.FIGURES, lambda: build_file.measure(is_short=True))
    yield Section("planning twelve hours", planning.FIGURES, lambda: planning.measure(is_short=True))
    yield Section("recordings", recording_speed.FIGURES, recording_speed.measure)


def whole() -> Iterator[Section]:
    """All of them, at the lengths that the goals are stated for: some 20 minutes."""
    yield Section("judging 24 h at 1 Hz", whole_engine.FIGURES, lambda: whole_engine.measure(24.0))
    yield Section("looking ahead, and 72 h", looking_ahead.FIGURES, lambda: looking_ahead.measure(72.0))
    yield Section("stalls, judged by cases of another hand", stalls.FIGURES, lambda: stalls.measure(100.0, 50))
    yield Section("live with screen, 30 s", live_screen.FIGURES, lambda: live_screen.measure(30.0))
    yield Section("the screen over 8 h, at speed", screen_upkeep.FIGURES, lambda: screen_upkeep.measure(8.0))
    yield Section("build files", build_file.FIGURES, build_file.measure)
    yield Section("planning twelve hours", planning.FIGURES, planning.measure)
    yield Section("recordings", recording_speed.FIGURES, recording_speed.measure)
    yield Section("step tests on the bench", step_tests.FIGURES, step_tests.measure)
    yield Section("seeking in a replay of 24 h", seeking.FIGURES, lambda: seeking.measure(24.0))
    yield Section("the archive, 1,000 recordings", archive.FIGURES, archive.measure)
    yield Section("live with every notifier down", notifiers_down.FIGURES, lambda: notifiers_down.measure(60.0))


def _run(sections: Iterator[Section]) -> dict[str, list[Measured]]:
    found = {}
    for section in sections:
        sys.stderr.write(f"{section.title} ...\n")
        found[section.title] = measured(section.figures, section.measure())
    return found


def main() -> int:
    """Run them one after the other, and print the table."""
    parser = argparse.ArgumentParser(description="All benchmarks as one table; ratios and counts against their bounds.")
    parser.add_argument("--short", action="store_true", help="about a minute, instead of some twenty")
    parser.add_argument("--check", action="store_true", help="exit with 1 when a ratio or count is more than twice off")
    arguments = parser.parse_args()
    found = _run(short() if arguments.short else whole())
    print("\n".join(lines(found)))
    if not arguments.check:
        return 0
    held = sum(bool(row.figure.bound) and row.figure.kind is not Kind.TIME for rows in found.values() for row in rows)
    wrong = far_off(found)
    print(f"\n{held} ratios and counts held against their bounds; {len(wrong)} worse by more than {FAR_OFF:g} times")
    print("\n".join(wrong))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
