"""What a look ahead costs, and that cost and memory grow as they should: `python -m tests.benchmarks.looking_ahead`.

A forecast of twelve hours for six strands, standing on and with sixty turns of feeding; the time for judging twice the
strands, and twice the hours; and the memory that is in use while a long recording is judged.
"""

import sys
import time
import tracemalloc
from dataclasses import replace

import numpy as np

from monitor.config import demo_profile
from monitor.core.engine import run
from monitor.core.field import build_field
from monitor.core.outlook import Limits, Stretch, look_ahead
from monitor.core.parameters import Parameters
from tests.benchmarks.whole_engine import HOUR_S, half_time

WALLS = np.array([25.0, 35.0, 195.0, 225.0])
AHEAD_S = 12.0 * HOUR_S
TURNS = 60


def _futures(strands: int) -> dict[str, list[Stretch]]:
    turn_s = AHEAD_S / TURNS
    turns = [
        Stretch(turn_s, WALLS, tuple(turn_s if turn % strands == strand else 0.0 for strand in range(strands)))
        for turn in range(TURNS)
    ]
    return {"standing on": [Stretch(AHEAD_S, WALLS, (0.0,) * strands)], f"{TURNS} turns of feeding": turns}


def _ahead_ms(parameters: Parameters) -> dict[str, float]:
    field, count = build_field(parameters), len(parameters.strands)
    state, limits = field.initial(WALLS), [Limits(200.0, 300.0, 10.0, 30.0)] * count
    figures = {}
    for name, future in _futures(count).items():
        begin_s = time.process_time()
        look_ahead(field, state, future, limits)
        figures[f"ms for 12 h ahead, six strands, {name}"] = (time.process_time() - begin_s) * 1e3
    return figures


def _judge_s(parameters: Parameters, hours: float) -> float:
    begin_s = time.process_time()
    for _ in run(half_time(hours), parameters):
        pass
    return time.process_time() - begin_s


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


def measure(hours: float) -> dict[str, float]:
    """Figures of one run; `hours` is the length of the recording whose memory is looked at."""
    parameters = demo_profile().parameters
    base_s = _judge_s(parameters, 2.0)
    return {
        **_ahead_ms(parameters),
        "times the cost for twice the strands": _judge_s(_with_strands(parameters, 12), 2.0) / base_s,
        "times the cost for twice the hours": _judge_s(parameters, 4.0) / base_s,
        f"times the memory after {hours:g} h of that after one": _memory_growth(parameters, hours),
    }


def main() -> None:
    """Print the figures."""
    hours = float(sys.argv[1]) if len(sys.argv) > 1 else 72.0
    for name, value in measure(hours).items():
        sys.stdout.write(f"{value:12.2f}  {name}\n")


if __name__ == "__main__":
    main()
