"""Runs `export`: judges a recording and writes what other programs read."""

import argparse
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from connectors.clean_text import clean_text
from connectors.recording import Recording, read_recording
from monitor.commands.loading import loaded
from monitor.config import Profile, load_profile, profile_from_tables
from monitor.core.assessment import Assessment
from monitor.exit_codes import DONE, WrongUseError
from monitor.exporting.csv_tables import CsvSink
from monitor.exporting.openmetrics import metrics_text
from monitor.exporting.parquet_tables import ParquetSink, check_library
from monitor.exporting.playing import Played, channels_of, play
from monitor.exporting.tables import Sink, Table
from monitor.output import speak_utf8

Make = Callable[[Table, Path], Sink]


class _Nowhere:
    """Takes rows that nobody wants."""

    def row(self, cells: object) -> None:
        """Take one row."""

    def close(self) -> None:
        """No more rows come."""


def run(arguments: argparse.Namespace) -> int:
    """Write a recording in every form that is asked for."""
    if arguments.csv is None and arguments.parquet is None and arguments.openmetrics is None:
        raise WrongUseError("say what to write: --csv DIR, --parquet DIR or --openmetrics FILE")
    if arguments.parquet is not None:
        check_library()
    recording = read_recording(arguments.file)
    profile = _profile(arguments, recording)
    forms: list[tuple[Path, str, Make]] = []
    if arguments.csv is not None:
        forms.append((arguments.csv, "csv", CsvSink))
    if arguments.parquet is not None:
        forms.append((arguments.parquet, "parquet", ParquetSink))
    played = None
    for folder, ending, make in forms:
        played = _tables(recording, profile, folder, ending, make)
    if arguments.openmetrics is not None:
        played = played or play(recording, profile, (), lambda _: _Nowhere())
        _metrics(arguments.openmetrics, recording, played)
    if played is not None and played.damage:
        raise WrongUseError(f"{clean_text(str(arguments.file), 500)}: {played.damage}; all before it was exported")
    return DONE


def _profile(arguments: argparse.Namespace, recording: Recording) -> Profile:
    if arguments.profile is not None:
        return loaded(lambda: load_profile(arguments.profile, user_materials=arguments.materials))
    if arguments.materials:
        raise WrongUseError("--materials only goes with --profile: a recording brings its own materials along")
    header = recording.header
    return loaded(lambda: profile_from_tables(header.profile, header.materials, str(recording.path)))


def _tables(recording: Recording, profile: Profile, folder: Path, ending: str, make: Make) -> Played:
    """Write the tables into a folder; none is left half written."""
    shown, made = clean_text(str(folder), 500), list[Path]()

    def open_table(table: Table) -> Sink:
        path = folder / f"{table.name}.{ending}"
        sink = make(table, path)
        made.append(path)
        return sink

    try:
        folder.mkdir(parents=True, exist_ok=True)
        played = play(recording, profile, channels_of(recording), open_table)
    except FileExistsError as error:
        _remove(made)
        raise WrongUseError(f"{shown}: there is something of that name already, and nothing is overwritten") from error
    except OSError as error:
        _remove(made)
        raise WrongUseError(f"{shown} cannot be written: {error.strerror}") from error
    except BaseException:
        _remove(made)
        raise
    counts = ", ".join(f"{count} {name}" for name, count in played.rows.items())
    print(f"written to {shown} as {ending}: rows of {counts}", file=sys.stderr)
    return played


def _metrics(where: str, recording: Recording, played: Played) -> None:
    if played.last is None:
        raise WrongUseError(f"{clean_text(str(recording.path), 500)} holds no event, so there is no state to tell")
    text = _text_of(played.last, recording)
    if where == "-":
        speak_utf8()
        print(text, end="")
        return
    try:
        with Path(where).open("x", encoding="utf-8", newline="") as file:
            file.write(text)
    except OSError as error:
        raise WrongUseError(f"{clean_text(where, 500)} cannot be written: {error.strerror}") from error


def _text_of(last: Assessment, recording: Recording) -> str:
    return metrics_text(last, recording.header.source, recording.header.start.timestamp() + last.time_s)


def _remove(paths: list[Path]) -> None:
    for path in paths:
        with suppress(OSError):
            path.unlink()
