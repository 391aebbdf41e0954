"""All benchmarks, as figures of one run on one machine: `python -m tests.benchmark [--short]`.

Machines are noisy: compare ratios, not times. Nothing here fails for being slow.
"""

import sys
from collections.abc import Mapping

from tests.benchmarks import (
    archive,
    build_file,
    live_screen,
    looking_ahead,
    notifiers_down,
    planning,
    recording_speed,
    seeking,
    stalls,
    step_tests,
    whole_engine,
)


def _show(title: str, figures: Mapping[str, float]) -> None:
    print(f"\n{title}")
    for name, value in figures.items():
        print(f"  {value:12.2f}  {name}")


def main() -> None:
    """Run them one after the other."""
    is_short = "--short" in sys.argv
    hours, long_hours, seconds = (0.5, 2.0, 4.0) if is_short else (24.0, 72.0, 30.0)
    title = f"judging a recording, {hours:g} h at 1 Hz, six strands (goals, feeding half the time: ≥ 15,000 and ≤ 6)"
    _show(title, whole_engine.measure(hours))
    _show("looking ahead, and how cost and memory grow (goals: ≤ 50, ≤ 2, ≤ 2, 1)", looking_ahead.measure(long_hours))
    amount = (5.0, 5) if is_short else (100.0, 50)
    _show("stalls, judged by cases of another hand (goals in stalls.md)", stalls.measure(*amount))
    _show(f"live with screen, {seconds:g} s (goals: ≤ 8, ≤ 120, ≤ 1)", live_screen.measure(seconds))
    _show("build files (goals: ≥ 0.8, ≥ 1.6; memory ≤ 400)", build_file.measure(is_short=is_short))
    _show("planning twelve hours (goal: the plan ≤ 3 s beyond reading)", planning.measure(is_short=is_short))
    if not is_short:
        _show("step tests on the bench (goals: coverage ≥ 85, bias < 2)", step_tests.measure())
        _show("recordings", recording_speed.measure())
        _show("seeking in a replay of 24 h (goal: longest ≤ 0.3 s)", seeking.measure(24.0))
        _show("the archive, 1,000 recordings (goal: listed in ≤ 2 s)", archive.measure())
        _show("live with every notifier down (goal: ≤ 50)", notifiers_down.measure(60.0))


if __name__ == "__main__":
    main()
