"""How long a plan takes beyond reading its file: `python -m tests.benchmarks.planning [--short]`.

A build of twelve hours and six strands that does not survive as planned, a change of the tool every five minutes,
written out in short moves. Times are of one core. Beside them, in the same run, a bare loop: only what the conduction
of six standing strands cannot do without, for as many steps.
"""

import io
import sys
import time
from collections.abc import Callable, Iterator
from typing import Final, TypeVar

import numpy as np

from monitor.build_file import read_build_file
from monitor.config import demo_profile
from monitor.core.field import build_field
from monitor.core.parameters import Parameters
from monitor.planning.forward_run import PERIOD_S
from monitor.planning.options import Changes
from monitor.planning.plan import make_plan, prepared
from tests.planned_builds import SETTINGS, Turn, lantern

T = TypeVar("T")
MOVE_S, SHORT_MOVE_S = 0.1, 5.0
_ROUND_MM: Final = 40.0


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


def _timed(job: Callable[[], T]) -> tuple[float, T]:
    begin_s = time.process_time()
    result = job()
    return time.process_time() - begin_s, result


def _bare_s(parameters: Parameters, steps: int) -> float:
    """Time of propagating six standing strands over so many steps: walls in, product, temperatures back; no dose."""
    field = build_field(parameters)
    operators = [field.propagators.step(kind, 0, PERIOD_S) for kind in field.kinds]
    states = [np.full(operator.shape[1], 100.0) for operator in operators]
    walls, cells = np.array([25.0, 37.0, 195.0, 225.0] * 2), field.grid.cells
    begin_s = time.process_time()
    for _ in range(steps):
        for operator, state in zip(operators, states, strict=True):
            state[cells:] = walls
            state[:cells] = operator @ state
    return time.process_time() - begin_s


def measure(*, is_short: bool = False) -> dict[str, float]:
    """Figures of one run."""
    profile = demo_profile()
    text = "".join(written_out(lantern(), SHORT_MOVE_S if is_short else MOVE_S)).encode()
    read_s, schedule = _timed(lambda: read_build_file(io.BytesIO(text), SETTINGS))
    build = prepared(profile.parameters, profile.planning, schedule)
    as_planned_s, _ = _timed(lambda: build.tried("as planned", Changes()))
    plan_s, plan = _timed(lambda: make_plan(build))
    bare_s = _bare_s(profile.parameters, len(plan.as_planned.run.times_s))
    return {
        "hours planned": schedule.duration.planned_s / 3600.0,
        "thousand lines": schedule.lines / 1000.0,
        "s here for reading": read_s,
        "s here for the run as planned and its verdicts": as_planned_s,
        f"s here for that and {len(plan.tried) - 1} options": plan_s,
        "run as planned / reading": as_planned_s / read_s,
        "plan with options / reading": plan_s / read_s,
        "run as planned / bare propagator loop": as_planned_s / bare_s,
    }


def main() -> None:
    """Print the figures."""
    for name, value in measure(is_short="--short" in sys.argv).items():
        sys.stdout.write(f"{value:12.2f}  {name}\n")


if __name__ == "__main__":
    main()
