"""How fast recordings are written and read. Run it with ``python -m tests.benchmarks.recording_speed``.

Ratios are against `json.loads` of the same rows in the same run, so that they hold on other machines too; the times
beside them are this machine's.
"""

import json
import sys
import tempfile
from collections import deque
from collections.abc import Iterable
from dataclasses import replace
from math import sin
from pathlib import Path
from typing import Final

from connectors.recording import Decoder, Encoder, read_recording
from connectors.telemetry import Event, Execution, Sample, Tick, channel
from tests.benchmarks.figures import Figure, count, of_this_machine, ratio, show
from tests.benchmarks.paired import best_s
from tests.recording_examples import HEADER

ROWS, ROUNDS = 30_000, 5
CHANNELS = (
    *(channel(kind, sensor) for kind in ("temp_c", "set_c") for sensor in ("cold", "manifold", "nozzle")),
    *(channel("duty", sensor) for sensor in ("manifold", "nozzle")),
    *(channel(kind, number) for kind in ("fed_mm", "sensed_mm") for number in range(1, 7)),
)
FIGURES: Final[tuple[Figure, ...]] = (
    ratio("row to sample", "json.loads of the row", at_most=1.2),
    ratio("file to events", "json.loads of the row", at_most=1.2),
    ratio("sample to row", "json.dumps of its values", at_most=0.7),
    of_this_machine("row to sample [µs]", "µs"),
    of_this_machine("sample to row [µs]", "µs"),
    count("a row of 20 channels", "bytes", at_most=200.0),
)
"""Bounds are what was measured, rounded up."""


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


def measure() -> dict[str, float]:
    """Ratios, and bytes per row."""
    header = replace(HEADER, columns=CHANNELS)
    events = invented_samples(ROWS)
    samples = [event for event in events if isinstance(event, Sample)]
    rows = [Encoder(header).encode(sample) for sample in samples]
    encoder, decoder = Encoder(header), Decoder(header)
    with tempfile.TemporaryDirectory() as directory:
        path = Path(directory) / "speed.jsonl"
        path.write_bytes(encoder.header_line() + b"".join(map(encoder.encode, events)))
        recording = read_recording(path)
        loads_s, read_s, file_s, dumps_s, write_s = best_s(
            ROUNDS,
            lambda: _run_through(map(json.loads, rows)),
            lambda: _run_through(map(decoder.decode, rows)),
            lambda: _run_through(recording.items()),
            lambda: _run_through(json.dumps([*sample.values.values()]) for sample in samples),
            lambda: _run_through(map(encoder.encode, samples)),
        )
    return {
        "row to sample": read_s / loads_s,
        "file to events": file_s / loads_s * ROWS / len(events),
        "sample to row": write_s / dumps_s,
        "row to sample [µs]": read_s / ROWS * 1e6,
        "sample to row [µs]": write_s / ROWS * 1e6,
        "a row of 20 channels": sum(map(len, rows)) / ROWS,
    }


if __name__ == "__main__":
    sys.stdout.write(show("recordings", FIGURES, measure()))
