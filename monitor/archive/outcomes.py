"""What the owner says became of a build: the words, and the small file beside the recording that keeps them.

A recording is never changed. The mark of ``night.jsonl``, packed or not, stands in ``night.outcome.toml``.
"""

import os
import re
import tempfile
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

import tomlkit

from connectors.clean_text import clean_text
from monitor.clock_text import clock_text
from monitor.exit_codes import WrongUseError
from monitor.text_file import NewerVersionError, UnreadableError, read_text_file, tables_of

ENDINGS: Final = (".jsonl", ".jsonl.gz", ".jsonl.zst")
"""Endings of recordings' names."""
MARK_ENDING: Final = ".outcome.toml"
FINE, JAM, OTHER = "fine", "jam", "other"
_JAM: Final = re.compile(r"jam on input (\d{1,2})(?: at (\d{1,3}):(\d{2})(?::(\d{2}))?)?", re.ASCII)
_HIGHEST_INPUT: Final = 64
_SIXTY: Final = 60
_LONGEST: Final = 200


@dataclass(frozen=True, slots=True)
class Outcome:
    """A mark: `kind` is "fine", "jam" or "other"; `words` are the owner's. `at_s` counts from the recording's begin."""

    kind: str
    words: str
    input: int | None = None
    at_s: float | None = None


def outcome_in(words: str) -> Outcome:
    """Understand the owner's words; what is neither fine nor a jam is kept as it is.

    Raises
    ------
    WrongUseError
        When they begin like a jam but tell it in another way.

    >>> outcome_in("jam on input 3 at 02:10")
    Outcome(kind='jam', words='jam on input 3 at 02:10', input=3, at_s=7800.0)
    """
    text = " ".join(clean_text(words, _LONGEST).split())
    if not text:
        raise WrongUseError('say what became of it: fine, "jam on input 3 at 02:10", or words of your own')
    if text == FINE:
        return Outcome(FINE, text)
    found = _JAM.fullmatch(text)
    if found is not None:
        return _jam(text, found)
    if text.lower().startswith((JAM, FINE + " ")):
        raise WrongUseError(
            f'{text!r} is not understood: write fine, "jam on input 3", or "jam on input 3 at 02:10", where 02:10 is'
            " hours and minutes since the recording began"
        )
    return Outcome(OTHER, text)


def _jam(text: str, found: re.Match[str]) -> Outcome:
    number, hours, minutes, seconds = found.groups()
    if not 1 <= int(number) <= _HIGHEST_INPUT or int(minutes or 0) >= _SIXTY or int(seconds or 0) >= _SIXTY:
        raise WrongUseError(f"{text!r}: there is no such input or time")
    at_s = None if hours is None else 3600.0 * int(hours) + 60.0 * int(minutes) + float(seconds or 0)
    return Outcome(JAM, text, int(number), at_s)


def check_fits(outcome: Outcome, inputs: list[int], duration_s: float) -> None:
    """Refuse a jam on an input without a strand, or after the recording's end; raises WrongUseError."""
    if outcome.input is not None and outcome.input not in inputs:
        known = ", ".join(map(str, inputs))
        raise WrongUseError(f"the recording has no strand on input {outcome.input}; it has {known}")
    if outcome.at_s is not None and outcome.at_s > duration_s:
        raise WrongUseError(
            f"the recording lasts {clock_text(duration_s)}, so nothing jammed at {clock_text(outcome.at_s)}: the time"
            " counts from its beginning, it is not the time of day"
        )


def stem_of(name: str) -> str | None:
    """A recording's name without its ending; None for a file that is no recording.

    >>> stem_of("night.jsonl.zst")
    'night'
    """
    return next((name.removesuffix(ending) for ending in ENDINGS if name.endswith(ending)), None)


def mark_path(recording: Path) -> Path:
    """Where the mark of a recording stands."""
    stem = stem_of(recording.name)
    return recording.with_name((recording.name if stem is None else stem) + MARK_ENDING)


def write_mark(recording: Path, outcome: Outcome, now: datetime) -> Path:
    """Put the mark beside the recording, whole or not at all; return its place.

    Raises
    ------
    WrongUseError
        When it cannot be written there, or a mark of a newer version stands there.
    """
    place = mark_path(recording)
    _refuse_to_replace_a_newer(place)
    document = tomlkit.document()
    document.add(tomlkit.comment("What became of this build, as its owner says. Written by strandwatch archive mark."))
    facts = {"outcome": outcome.kind, "words": outcome.words, "input": outcome.input, "at_s": outcome.at_s}
    for key, value in {**facts, "marked": now}.items():
        if value is not None:
            document.add(key, tomlkit.item(value))
    try:
        _put(place, tomlkit.dumps(document))
    except OSError as error:
        raise WrongUseError(f"{clean_text(str(place), 500)} cannot be written: {error.strerror}") from error
    return place


def _refuse_to_replace_a_newer(place: Path) -> None:
    """A mark that cannot be read for another reason may be replaced: the owner marks anew."""
    try:
        tables_of(read_text_file(place))
    except NewerVersionError as error:
        raise WrongUseError(f"{clean_text(str(place), 500)}: {error}, or move it away") from error
    except UnreadableError:
        return


def read_mark(place: Path) -> Outcome:
    """The mark in a file; one that cannot be read is told in its words, so that it shows in the list."""
    try:
        table = tables_of(read_text_file(place))
        kind, words = table.get("outcome"), table.get("words", "")
        outcome = outcome_in(words if isinstance(words, str) and words else str(kind))
    except (UnreadableError, WrongUseError) as error:
        return Outcome(OTHER, clean_text(f"mark cannot be read: {error}"))
    return outcome if outcome.kind == kind else Outcome(OTHER, outcome.words)


def _put(place: Path, text: str) -> None:
    descriptor, name = tempfile.mkstemp(prefix=".mark-", dir=place.parent)
    try:
        with os.fdopen(descriptor, "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        Path(name).replace(place)
    except BaseException:
        with suppress(OSError):
            Path(name).unlink()
        raise
