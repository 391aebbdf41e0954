"""A directory of recordings and its index, brought up to date: look, judge what is new, read the marks."""

from collections.abc import Callable
from os import scandir
from pathlib import Path

from connectors.clean_text import clean_text
from monitor.archive.batch import judge_all
from monitor.archive.index import Index, Stamp
from monitor.archive.outcomes import MARK_ENDING, Outcome, read_mark, stem_of
from monitor.exit_codes import WrongUseError

Told = Callable[[str], None]
"""Takes a line about what is going on."""


def bring_up_to_date(directory: Path, index: Index, told: Told, workers: int | None = None) -> None:
    """Judge what is new or has changed, forget what is gone, read all marks.

    Raises
    ------
    WrongUseError
        When the directory cannot be read.
    """
    stamps, marks = _found(directory)
    nameless = {name for name in stamps if not _is_text(name)}
    if nameless:
        told(f"files left out because their names are no UTF-8 text: {len(nameless)}")
    stamps = {name: stamp for name, stamp in stamps.items() if name not in nameless}
    known = index.stamps()
    index.forget(known.keys() - stamps.keys())
    new = sorted(name for name, stamp in stamps.items() if known.get(name) != stamp)
    if new:
        told(f"judging {len(new)} of {len(stamps)} recordings; this is done once for each")
    for judged in judge_all([directory / name for name in new], workers):
        index.put(judged, stamps[judged.name])
    index.put_outcomes({name: marks[stem] for name in stamps if (stem := stem_of(name)) in marks and stem is not None})


def marks_in(directory: Path) -> dict[str, Outcome]:
    """The owner's marks, by the recording's name without its ending; raises WrongUseError as above."""
    return _found(directory)[1]


def _is_text(name: str) -> bool:
    try:
        name.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _found(directory: Path) -> tuple[dict[str, Stamp], dict[str, Outcome]]:
    stamps: dict[str, Stamp] = {}
    marks: dict[str, Outcome] = {}
    try:
        with scandir(directory) as entries:
            for entry in entries:
                if stem_of(entry.name) is not None and entry.is_file():
                    status = entry.stat()
                    stamps[entry.name] = Stamp(status.st_size, status.st_mtime_ns)
                elif entry.name.endswith(MARK_ENDING) and entry.is_file():
                    marks[entry.name.removesuffix(MARK_ENDING)] = read_mark(Path(entry.path))
    except OSError as error:
        raise WrongUseError(f"{clean_text(str(directory), 500)} cannot be read: {error.strerror}") from error
    return stamps, marks
