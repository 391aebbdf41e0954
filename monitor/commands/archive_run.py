"""Runs `archive`: the list, a mark, or what is learned."""

import argparse
import sys
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path
from shutil import get_terminal_size

import msgspec

from connectors.clean_text import clean_text
from monitor.archive.directory import bring_up_to_date
from monitor.archive.index import Index, Search, index_place
from monitor.archive.listing import WIDE, list_lines, row_data
from monitor.archive.outcomes import check_fits, outcome_in, stem_of, write_mark
from monitor.exit_codes import DONE, WrongUseError
from monitor.output import Output, speak_utf8
from monitor.recording.place import default_directory
from monitor.version import version

_MARK_WORDS = 3


def run(arguments: argparse.Namespace) -> int:
    """List, mark or learn."""
    first, *rest = arguments.words or [str(default_directory())]
    if first == "mark":
        if len(arguments.words) != _MARK_WORDS:
            raise WrongUseError(
                'archive mark FILE OUTCOME, such as: archive mark night.jsonl "jam on input 3 at 02:10"'
            )
        return _mark(Path(rest[0]), rest[1])
    if first == "learn":
        from monitor.commands.archive_learn_run import learn  # noqa: PLC0415 -- heavy, and rarely wanted

        return learn(arguments, Path(rest[0]) if rest else default_directory())
    if rest:
        raise WrongUseError(f"one directory at a time; {clean_text(rest[0])!r} is too much")
    if arguments.accept is not None:
        raise WrongUseError("--accept goes with archive learn")
    return _list(arguments, Path(first))


def opened_index(arguments: argparse.Namespace, directory: Path) -> Index:
    """The index of a directory, up to date; progress and doubts are told beside the output."""
    told = Output(None, sys.stderr).message
    if not directory.is_dir():
        raise WrongUseError(f"{clean_text(str(directory), 500)} is no directory")
    place = index_place(directory)
    if arguments.rejudge:
        with suppress(OSError):
            place.unlink()
    index = Index(place, version())
    if not index.is_kept:
        told(f"the index cannot be kept at {clean_text(str(place), 500)}, so all recordings are judged again each time")
    bring_up_to_date(directory, index, told)
    return index


def _list(arguments: argparse.Namespace, directory: Path) -> int:
    search = Search(
        machine=arguments.machine,
        since_s=None if arguments.since is None else _since_s(arguments.since),
        alert=arguments.alert,
        material=arguments.material,
        outcome=arguments.outcome,
    )
    with opened_index(arguments, directory) as index:
        rows, known = index.find(search), len(index.stamps())
    if arguments.json:
        speak_utf8()
        for row in rows:
            print(msgspec.json.encode(row_data(row)).decode())
    else:
        print("\n".join(list_lines(rows, known, is_wide=_is_wide())))
    return DONE


def _mark(path: Path, words: str) -> int:
    from monitor.archive.judged import judge_file  # noqa: PLC0415 -- heavy

    outcome = outcome_in(words)
    if stem_of(path.name) is None:
        raise WrongUseError(
            f"{clean_text(str(path), 500)} is not named like a recording (.jsonl, .jsonl.gz, .jsonl.zst)"
        )
    judged = judge_file(path)
    if not judged.start_text:
        raise WrongUseError(judged.fault)
    check_fits(outcome, [strand.input for strand in judged.strands], judged.duration_s)
    place = write_mark(path, outcome, datetime.now().astimezone())
    print(f"{clean_text(path.name)}: {outcome.words} (kept in {clean_text(str(place), 500)})")
    return DONE


def _is_wide() -> bool:
    """Whether a line may be long: not on a terminal that is narrower."""
    return sys.stdout is None or not sys.stdout.isatty() or get_terminal_size().columns >= WIDE


def _since_s(text: str) -> float:
    """Seconds since 1970 of a date, or of so many days ago."""
    try:
        if text.endswith("d"):
            return (datetime.now().astimezone() - timedelta(days=float(text[:-1]))).timestamp()
        return datetime.fromisoformat(text).astimezone().timestamp()
    except (ValueError, OverflowError):
        raise WrongUseError(f"--since {clean_text(text)!r}: give a date such as 2026-11-25, or 30d") from None
