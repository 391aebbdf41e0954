"""How much faster than life a recording is judged: `python -m tests.benchmarks.whole_engine [HOURS]`.

Two loads at 1 Hz with six strands are written to a recording, then read from the file and judged to the end: simulated
nights, in which a strand moves in some 84 % of the ticks, and a plainer one in which one strand feeds half the time.
Beside them, in the same run: only what the conduction of six standing strands of different materials cannot do without,
over the same number of ticks. All by the processor's time, because machines are shared.
"""

import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from random import Random

import numpy as np

from connectors.recording import Encoder, Header, read_recording
from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import SCENARIOS
from connectors.telemetry import Event, Sample
from monitor.config import demo_profile
from monitor.core.engine import run
from monitor.core.field import build_field
from monitor.core.parameters import Parameters

HOUR_S = 3600
FEEDING_S, FEED_MM_S = 60, 1.5  # some 3.6 mm³/s of a 1.75 mm strand


def nights(hours: float) -> Iterator[Event]:
    """Samples of healthy nights, one after the other, for so many hours; feed runs on across the seams."""
    start_s, fed_mm = 0.0, dict[str, float]()
    while True:
        last: Sample | None = None
        for event in simulate(SCENARIOS["healthy-night"]):
            if isinstance(event, Sample):
                last = _shifted(event, start_s, fed_mm)
                if last.time_s >= hours * HOUR_S:
                    return
                yield last
        if last is None:
            raise RuntimeError("the simulated night has no samples")
        start_s = last.time_s + 1.0
        fed_mm = {name: value for name, value in last.values.items() if name.startswith(("fed_mm", "sensed_mm"))}


def half_time(hours: float) -> Iterator[Event]:
    """One strand at a time feeds for a minute, then none for a minute; walls that wander a little."""
    random = Random(7)  # noqa: S311 -- a repeatable load, no secret
    fed_mm = [0.0] * 6
    for second in range(int(hours * HOUR_S)):
        turn, is_feeding = second // 120, second % 120 < FEEDING_S
        if is_feeding:
            fed_mm[turn % 6] += FEED_MM_S
        values = {"temp_c:cold_end": 34.0, "temp_c:manifold": 195.0, "temp_c:nozzle": 225.0}
        values = {name: round(value + random.gauss(0.0, 0.2), 2) for name, value in values.items()}
        yield Sample(float(second), values | {f"fed_mm:{index + 1}": mm for index, mm in enumerate(fed_mm)})


def _shifted(sample: Sample, start_s: float, fed_mm: dict[str, float]) -> Sample:
    values = {name: value + fed_mm.get(name, 0.0) for name, value in sample.values.items()}
    return replace(sample, time_s=sample.time_s + start_s, values=values)


def _write(path: Path, load: Iterable[Event]) -> int:
    header = Header(datetime.now(UTC), "benchmark", "simulated", "simulated nights", {}, {})
    encoder, count = Encoder(header), 0
    with path.open("wb") as file:
        file.write(encoder.header_line())
        for event in load:
            file.write(encoder.encode(event))
            count += 1
    return count


def _judge_s(path: Path, parameters: Parameters) -> float:
    begin_s = time.process_time()
    events = (item for item in read_recording(path).items() if isinstance(item, Sample))
    for _ in run(events, parameters):
        pass
    return time.process_time() - begin_s


def _bare_s(parameters: Parameters, ticks: int) -> float:
    """Time of propagating six standing strands over so many ticks: walls in, product, temperatures back; no dose."""
    field = build_field(parameters)
    steps = [field.propagators.step(kind, 0, 1.0) for kind in field.kinds]
    states = [np.full(step.shape[1], 100.0) for step in steps]
    cells = field.grid.cells
    walls = np.array([25.0, 35.0, 195.0, 225.0] * 2)
    begin_s = time.process_time()
    for _ in range(ticks):
        for step, state in zip(steps, states, strict=True):
            state[cells:] = walls
            state[:cells] = step @ state
    return time.process_time() - begin_s


def judged(load: Iterable[Event], parameters: Parameters) -> tuple[float, int]:
    """Seconds for judging a load from a file, and its ticks."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "load.jsonl")
        ticks = _write(path, load)
        return _judge_s(path, parameters), ticks


def measure(hours: float) -> dict[str, float]:
    """Ratios of one run."""
    parameters, figures = demo_profile().parameters, dict[str, float]()
    for name, load in (("half the time", half_time), ("84 % of the time", nights)):
        judged_s, ticks = judged(load(hours), parameters)
        figures[f"real time / judging, a strand feeding {name}"] = ticks / judged_s
        figures[f"judging / bare propagator loop, feeding {name}"] = judged_s / _bare_s(parameters, ticks)
        figures[f"microseconds per tick here, feeding {name}"] = judged_s / ticks * 1e6
    return figures


def main() -> None:
    """Print the ratios."""
    hours = float(sys.argv[1]) if len(sys.argv) > 1 else 24.0
    for name, value in measure(hours).items():
        sys.stdout.write(f"{value:12.1f}  {name}\n")


if __name__ == "__main__":
    main()
