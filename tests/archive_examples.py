"""Small invented recordings, and the archive command alone, for tests and the benchmark of the archive."""

import argparse
from collections.abc import Iterable
from datetime import timedelta
from pathlib import Path

from connectors.recording import Encoder, Header
from connectors.telemetry import Event, Execution, LinkChange, Sample
from monitor.commands import archive
from monitor.config import Profile, demo_profile
from tests.recording_examples import HEADER

HOT = {"temp_c:cold_end": 30.0, "temp_c:manifold": 195.0, "temp_c:nozzle": 225.0, "set_c:manifold": 195.0}


def header(profile: Profile, machine: str, day: int = 0) -> Header:
    """Header of an invented night, some days after the first."""
    return Header(
        start=HEADER.start + timedelta(days=day),
        program="0.1.0",
        machine=machine,
        source="invented",
        profile=dict(profile.table) | {"name": machine},
        materials=dict(profile.material_tables),
    )


def night(minutes: int, fed: int = 4, at_s: float | None = None, manifold_c: float = 195.0) -> list[Event]:
    """Minutes of a hot machine, a sample every four seconds; input `fed` is pushed from `at_s` on, all others stand."""
    pushed_s = 60.0 * minutes - 120.0 if at_s is None else at_s
    events: list[Event] = [LinkChange(0.0, available=True, reason="invented")]
    for tick in range(15 * minutes):
        time_s = 4.0 * tick
        feed = {f"fed_mm:{number}": 0.0 for number in range(1, 7)}
        feed[f"fed_mm:{fed}"] = max(0.0, time_s - pushed_s)
        events.append(Sample(time_s, HOT | feed | {"temp_c:manifold": manifold_c}, Execution.ACTIVE))
    return events


def write(path: Path, head: Header, events: Iterable[Event]) -> Path:
    """Write a recording that ends in order."""
    encoder = Encoder(head)
    lines = [encoder.header_line(), *map(encoder.encode, events)]
    path.write_bytes(b"".join([*lines, encoder.encode_conclusion("end", 1e6, {"reason": "invented"})]))
    return path


def many(folder: Path, count: int) -> None:
    """Write so many small recordings."""
    profile = demo_profile()
    events = night(2)
    for number in range(count):
        write(folder / f"night-{number:04d}.jsonl", header(profile, f"machine {number % 7}", number), events)


def archived(words: Iterable[object]) -> int:
    """Run `archive` alone, without the rest of the command line."""
    parser = argparse.ArgumentParser()
    archive.add_parser(parser.add_subparsers())
    arguments = parser.parse_args(["archive", *map(str, words)])
    status: int = arguments.run(arguments)
    return status
