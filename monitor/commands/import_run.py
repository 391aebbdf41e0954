"""Runs `import`: tells what is understood of a foreign file, and makes a recording of it."""

import argparse
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from connectors.clean_text import clean_text
from connectors.telemetry import Event
from monitor.commands.loading import loaded
from monitor.config import Profile, load_profile
from monitor.exit_codes import DONE, WrongUseError
from monitor.importing.import_map import ImportMap, load_map
from monitor.importing.preview import Understood, missing_lines, trouble_lines, unused_lines
from monitor.importing.reading import Reader, kind_of, make_reader
from monitor.importing.source_file import lines_of
from monitor.importing.writing import write_recording
from monitor.summary import summary_lines


def run(arguments: argparse.Namespace) -> int:
    """Tell what a file says; with ``--out`` make a recording of it."""
    profile = loaded(lambda: load_profile(arguments.profile, user_materials=arguments.materials))
    mapping = _with_spacing(ImportMap() if arguments.map is None else load_map(arguments.map), arguments.spacing)
    kind = kind_of(arguments.file.name, arguments.kind, profile.link)
    reader, understood = make_reader(kind, mapping, profile.link), Understood()
    for _, event in reader.events(lines_of(arguments.file)):
        understood.take(event)
    start, origin = _start(arguments, reader, understood)
    name = clean_text(arguments.file.name)
    print("\n".join(_preview(f"{name}, taken as {kind}; begins {start:%Y-%m-%d %H:%M:%S %z} ({origin})", reader)))
    print("\n".join([*understood.lines(), *_missing(understood, profile), *trouble_lines(reader.tally)]))
    if not understood.samples:
        raise WrongUseError(f"{name}: nothing in it could be understood, so there is nothing to import")
    if arguments.out is None:
        print("nothing was written; --out FILE.jsonl makes a recording of it")
        return DONE
    again = make_reader(kind, mapping, profile.link)
    events: Iterator[Event] = (event for _, event in again.events(lines_of(arguments.file)))
    totals = write_recording(events, profile, f"imported from {name} ({kind})", start, arguments.out)
    print("\n".join(summary_lines(totals, f"recorded to {clean_text(str(arguments.out), 500)}")))
    return DONE


def _preview(title: str, reader: Reader) -> Iterator[str]:
    yield title
    yield from reader.notes


def _missing(understood: Understood, profile: Profile) -> Iterator[str]:
    yield from unused_lines(understood.channels, profile.parameters)
    yield from missing_lines(understood.channels, understood.states, profile.parameters)


def _with_spacing(mapping: ImportMap, spacing_s: float | None) -> ImportMap:
    """The map with what ``--spacing`` says, for tables and lines alike."""
    if spacing_s is None:
        return mapping
    tables = mapping.model_dump()
    tables["lines"] = {**tables["lines"], "spacing_s": spacing_s}
    if mapping.time is None or mapping.time.column is None:
        tables["time"] = {"spacing_s": spacing_s}
    return ImportMap.model_validate(tables)


def _start(arguments: argparse.Namespace, reader: Reader, understood: Understood) -> tuple[datetime, str]:
    """Time of day of the first line, and where that comes from."""
    if arguments.start is not None:
        try:
            return datetime.fromisoformat(arguments.start).astimezone(), "as you said"
        except (ValueError, OverflowError):
            raise WrongUseError(
                f"--start {clean_text(arguments.start)!r} is no time in ISO 8601, such as 2026-11-25T22:00"
            ) from None
    if reader.start is not None:
        return reader.start, "told by the file"
    return _by_change(arguments.file, understood.last_s), "a guess by the file's last change; --start sets it"


def _by_change(path: Path, span_s: float) -> datetime:
    return datetime.fromtimestamp(max(0.0, path.stat().st_mtime - span_s), UTC).astimezone()
