"""How long a plan takes beyond reading its file: `python -m tests.benchmarks.planning [--short]`.

A build of twelve hours and six strands that does not survive as planned, a change of the tool every five minutes,
written out in short moves. Times are of one core. Beside them, in the same run, a bare loop: only what the conduction
of six standing strands cannot do without, for as many steps.
"""

import io
import sys
from collections.abc import Iterator
from typing import Final

from monitor.build_file import read_build_file
from monitor.config import demo_profile
from monitor.planning.options import Changes
from monitor.planning.plan import make_plan, prepared
from tests.benchmarks.figures import Figure, count, of_this_machine, ratio, show
from tests.benchmarks.paired import best_s
from tests.benchmarks.whole_engine import bare_loop
from tests.planned_builds import SETTINGS, Turn, lantern

MOVE_S, SHORT_MOVE_S = 0.1, 5.0
_ROUND_MM: Final = 40.0
_BARE: Final = "as many steps, six strands propagated alone"
FIGURES: Final[tuple[Figure, ...]] = (
    ratio("run as planned and its verdicts", _BARE, at_most=30.0),
    ratio("plan with all its options", _BARE, at_most=120.0),
    ratio("all options together", "run as planned", at_most=6.0),
    of_this_machine("run as planned [s]", "s"),
    of_this_machine("plan with all its options [s]", "s", at_most=3.0),
    of_this_machine("reading the file [s]", "s"),
    count("planned", "h"),
    count("read", "thousand lines"),
)
"""3 s is a goal; the ratios are bounded by what was measured, rounded up."""


def written_out(turns: list[Turn], move_s: float) -> Iterator[str]:
    """The turns as short moves around a square, as files have them."""
    yield "M83\nM109 S225\nM104 T9 S195\n"
    sides = ((_ROUND_MM, 0.0), (_ROUND_MM, _ROUND_MM), (0.0, _ROUND_MM), (0.0, 0.0))
    number = 0
    for turn in turns:
        yield f"T{turn.input - 1}\n"
        feed_mm = turn.speed_mm_s * move_s
        for _ in range(round(turn.length_s / move_s)):
            x_mm, y_mm = sides[number % 4]
            number += 1
            yield f"G1 X{x_mm:.2f} Y{y_mm:.2f} E{feed_mm:.4f} F{_ROUND_MM / move_s * 60.0:.0f}\n"


def measure(*, is_short: bool = False) -> dict[str, float]:
    """Figures of one run."""
    profile = demo_profile()
    text = "".join(written_out(lantern(), SHORT_MOVE_S if is_short else MOVE_S)).encode()
    schedule = read_build_file(io.BytesIO(text), SETTINGS)
    build = prepared(profile.parameters, profile.planning, schedule)
    steps = len(make_plan(build).as_planned.run.times_s)
    read_s, as_planned_s, plan_s, bare_s = best_s(
        2 if is_short else 3,
        lambda: read_build_file(io.BytesIO(text), SETTINGS),
        lambda: build.tried("as planned", Changes()),
        lambda: make_plan(build),
        bare_loop(profile.parameters, steps),
    )
    return {
        "run as planned and its verdicts": as_planned_s / bare_s,
        "plan with all its options": plan_s / bare_s,
        "all options together": plan_s / as_planned_s,
        "run as planned [s]": as_planned_s,
        "plan with all its options [s]": plan_s,
        "reading the file [s]": read_s,
        "planned": schedule.duration.planned_s / 3600.0,
        "read": schedule.lines / 1000.0,
    }


def main() -> None:
    """Print the figures."""
    sys.stdout.write(show("planning twelve hours", FIGURES, measure(is_short="--short" in sys.argv)))


if __name__ == "__main__":
    main()
