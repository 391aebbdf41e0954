"""A recording, read and judged once more, with every row handed to the tables on the way."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from math import isfinite
from typing import Final

from connectors.recording import Conclusion, Recording
from connectors.recording_header import TIME_COLUMNS
from connectors.telemetry import Sample
from monitor.config import Profile
from monitor.core.assessment import Assessment
from monitor.core.engine import Engine
from monitor.core.engine_input import EngineInput
from monitor.every import Every
from monitor.exporting.tables import ALERTS, DOSES, Sink, Table, alert_row, dose_rows, sample_row, samples_table
from monitor.recording.inputs import input_in

LOOK_EVERY_S: Final = 60.0
"""Spacing of the rows of doses [s]."""
LONGEST_GAP_S: Final = 366 * 86_400.0
"""A time further on than that is damage."""

Open = Callable[[Table], Sink]


@dataclass(frozen=True, slots=True)
class Played:
    """What a recording led to: its last assessment (None: it holds no event), rows by table, and what was wrong."""

    last: Assessment | None
    rows: dict[str, int]
    damage: str = ""


def channels_of(recording: Recording) -> tuple[str, ...]:
    """All channels that a recording has in the end. Reads it to its end; a channel called like a time is left out."""
    with closing(recording.items()) as items:
        for _ in items:
            pass
    return tuple(name for name in recording.columns if name not in TIME_COLUMNS)


def play(recording: Recording, profile: Profile, channels: Sequence[str], open_table: Open) -> Played:
    """Judge a recording; every sample, minute and alert becomes a row of a table that `open_table` gives."""
    tables = (samples_table(channels), DOSES, ALERTS)
    sinks: dict[str, Sink] = {}
    try:
        for table in tables:
            sinks[table.name] = open_table(table)
        return _filled(recording, profile, channels, sinks)
    finally:
        for sink in sinks.values():
            sink.close()


def _filled(recording: Recording, profile: Profile, channels: Sequence[str], sinks: dict[str, Sink]) -> Played:
    engine, due = Engine(profile.parameters), Every(LOOK_EVERY_S)
    rows = dict.fromkeys(sinks, 0)
    step, time_s = None, 0.0

    def put(table: str, *cells: Sequence[float | int | str | None]) -> None:
        for row in cells:
            sinks[table].row(row)
        rows[table] += len(cells)

    for told in _inputs(recording):
        if not isfinite(told.time_s) or told.time_s > time_s + LONGEST_GAP_S:
            return Played(step.assessment if step else None, rows, "a time in it jumps by more than a year")
        time_s = max(time_s, told.time_s)
        if isinstance(told, Sample):
            put("samples", sample_row(told, channels))
        step = engine.advance(told)
        put(ALERTS.name, *map(alert_row, step.transitions))
        if due(time_s):
            put(DOSES.name, *dose_rows(step.assessment))
    return Played(step.assessment if step else None, rows, recording.damage or "")


def _inputs(recording: Recording) -> Iterator[EngineInput]:
    with closing(recording.items()) as items:
        for item in items:
            told = input_in(item) if isinstance(item, Conclusion) else item
            if told is not None:
                yield told
