"""What a look ahead costs, and that cost and memory grow as they should: `python -m tests.benchmarks.looking_ahead`.

A forecast of twelve hours for six strands, standing on and with sixty turns of feeding; the time for judging twice the
strands, and twice the hours; and the memory that is in use while a long recording is judged.
"""

import sys
import tracemalloc
from collections.abc import Callable
from dataclasses import replace
from typing import Final

import numpy as np

from connectors.telemetry import Event
from monitor.config import demo_profile
from monitor.core.engine import run
from monitor.core.field_building import build_field
from monitor.core.outlook import Limits, Stretch, look_ahead
from monitor.core.parameters import Parameters
from tests.benchmarks.figures import Figure, of_this_machine, ratio, show
from tests.benchmarks.paired import best_s
from tests.benchmarks.whole_engine import HOUR_S, half_time

WALLS = np.array([25.0, 35.0, 195.0, 225.0])
AHEAD_S = 12.0 * HOUR_S
TURNS = 60
JUDGED_H: Final = 2.0
STANDING: Final = "12 h ahead, six strands, standing on"
FIGURES: Final[tuple[Figure, ...]] = (
    of_this_machine(f"{STANDING} [ms]", "ms", at_most=50.0),
    ratio(STANDING, "judging as many hours", at_most=0.01),
    ratio(f"12 h ahead, six strands, {TURNS} turns of feeding", "judging as many hours", at_most=0.1),
    ratio("judging twice the strands", "judging them once", at_most=2.0),
    ratio("judging twice the hours", "judging them once", at_most=2.0),
    ratio("memory at the end of the recording", "memory after its first hour", at_most=1.2),
)


def _futures(strands: int) -> dict[str, list[Stretch]]:
    turn_s = AHEAD_S / TURNS
    turns = [
        Stretch(turn_s, WALLS, tuple(turn_s if turn % strands == strand else 0.0 for strand in range(strands)))
        for turn in range(TURNS)
    ]
    return {"standing on": [Stretch(AHEAD_S, WALLS, (0.0,) * strands)], f"{TURNS} turns of feeding": turns}


def _looks(parameters: Parameters) -> dict[str, Callable[[], object]]:
    field, count = build_field(parameters), len(parameters.strands)
    state, limits = field.initial(WALLS), [Limits(200.0, 300.0, 10.0, 30.0)] * count

    def job(future: list[Stretch]) -> Callable[[], object]:
        return lambda: look_ahead(field, state, future, limits)

    return {name: job(future) for name, future in _futures(count).items()}


def _judging(parameters: Parameters, load: list[Event]) -> Callable[[], None]:
    def job() -> None:
        for _ in run(load, parameters):
            pass

    return job


def _with_strands(parameters: Parameters, count: int) -> Parameters:
    kinds = parameters.strands
    strands = tuple(replace(kinds[index % len(kinds)], input=index + 1) for index in range(count))
    return replace(parameters, strands=strands)


def _memory_growth(parameters: Parameters, hours: float) -> float:
    """Memory in use at the end of a recording over that after its first hour."""
    tracemalloc.start()
    early_bytes = 0
    for step in run(half_time(hours), parameters):
        if early_bytes == 0 and step.event.time_s >= HOUR_S:
            early_bytes = tracemalloc.get_traced_memory()[0]
    late_bytes = tracemalloc.get_traced_memory()[0]
    tracemalloc.stop()
    return late_bytes / early_bytes


def measure(hours: float, rounds: int = 3) -> dict[str, float]:
    """Figures of one run; `hours` is the length of the recording whose memory is looked at."""
    parameters = demo_profile().parameters
    once, twice = list(half_time(JUDGED_H)), list(half_time(2 * JUDGED_H))
    looks = _looks(parameters)
    base_s, strands_s, hours_s, *looks_s = best_s(
        rounds,
        _judging(parameters, once),
        _judging(_with_strands(parameters, 12), once),
        _judging(parameters, twice),
        *looks.values(),
    )
    as_long_s = base_s * AHEAD_S / (JUDGED_H * HOUR_S)
    ahead_s = {f"12 h ahead, six strands, {name}": look_s for name, look_s in zip(looks, looks_s, strict=True)}
    return {
        f"{STANDING} [ms]": ahead_s[STANDING] * 1e3,
        **{name: look_s / as_long_s for name, look_s in ahead_s.items()},
        "judging twice the strands": strands_s / base_s,
        "judging twice the hours": hours_s / base_s,
        "memory at the end of the recording": _memory_growth(parameters, hours),
    }


def main() -> None:
    """Print the figures."""
    hours = float(sys.argv[1]) if len(sys.argv) > 1 else 72.0
    sys.stdout.write(show(f"looking ahead, and {hours:g} h", FIGURES, measure(hours)))


if __name__ == "__main__":
    main()
