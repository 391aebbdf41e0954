"""How fast recordings are written and read. Run it with ``python -m tests.benchmarks.recording_speed``.

Ratios are against `json.loads` of the same rows in the same run, so that they hold on other machines too; the times
beside them are this machine's.
"""

import json
import sys
import tempfile
import time
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import replace
from math import sin
from pathlib import Path

from connectors.recording import Decoder, Encoder, read_recording
from connectors.telemetry import Event, Execution, Sample, Tick, channel
from tests.recording_examples import HEADER

ROWS, ROUNDS, MICRO = 30_000, 5, 1e6
CHANNELS = (
    *(channel(kind, sensor) for kind in ("temp_c", "set_c") for sensor in ("cold", "manifold", "nozzle")),
    *(channel("duty", sensor) for sensor in ("manifold", "nozzle")),
    *(channel(kind, number) for kind in ("fed_mm", "sensed_mm") for number in range(1, 7)),
)


def invented_samples(count: int) -> list[Event]:
    """Samples at 4 Hz with a tick each second: all channels, digits as a controller gives them."""
    events: list[Event] = []
    for row in range(count):
        values = {name: round(100 + place + 9 * sin(row * 0.01 + place), 2) for place, name in enumerate(CHANNELS)}
        events.append(Sample(row * 0.25 + 0.001234567, values, Execution.ACTIVE))
        if row % 4 == 0:
            events.append(Tick(row * 0.25 + 0.002345678))
    return events


def _run_through(items: Iterable[object]) -> None:
    """Take every item and keep none: what is kept would be measured too, as work of the garbage collector."""
    deque(items, maxlen=0)


def best_us(job: Callable[[], object], items: int) -> float:
    """Shortest time per item of some rounds [µs]."""
    best_s = float("inf")
    for _ in range(ROUNDS):
        start_s = time.perf_counter()
        job()
        best_s = min(best_s, time.perf_counter() - start_s)
    return best_s / items * MICRO


def measure() -> dict[str, float]:
    """Times per sample row [µs], and bytes per row."""
    header = replace(HEADER, columns=CHANNELS)
    events = invented_samples(ROWS)
    samples = [event for event in events if isinstance(event, Sample)]
    rows = [Encoder(header).encode(sample) for sample in samples]
    encoder, decoder = Encoder(header), Decoder(header)
    with tempfile.TemporaryDirectory() as directory:
        path = Path(directory) / "speed.jsonl"
        path.write_bytes(encoder.header_line() + b"".join(map(encoder.encode, events)))
        recording = read_recording(path)
        times = {
            "json.loads, row alone": best_us(lambda: _run_through(map(json.loads, rows)), ROWS),
            "row to Sample": best_us(lambda: _run_through(map(decoder.decode, rows)), ROWS),
            "file to events": best_us(lambda: _run_through(recording.items()), len(events)),
            "Sample to row": best_us(lambda: _run_through(map(encoder.encode, samples)), ROWS),
            "json.dumps, row alone": best_us(
                lambda: _run_through(json.dumps([*s.values.values()]) for s in samples), ROWS
            ),
        }
        times["bytes per row"] = sum(map(len, rows)) / ROWS
    return times


def report() -> str:
    """The measurements as lines of text, with their ratio to `json.loads`."""
    times = measure()
    size = times.pop("bytes per row")
    unit = times["json.loads, row alone"]
    lines = [f"{name:<24}{us:8.2f} µs  {us / unit:6.2f} × json.loads" for name, us in times.items()]
    return "\n".join([*lines, f"{'a row':<24}{size:8.0f} bytes, {len(CHANNELS)} channels"])


if __name__ == "__main__":
    sys.stdout.write(report() + "\n")
