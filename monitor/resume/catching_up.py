"""Takes up a recording where it ends: doses, stalls and alerts stand as they stood, as if the watch had never ended.

Owns which recordings can be taken up, and how an engine is brought to their end. Knows nothing of options, links or
screens. What the recording concluded is not told or recorded again; only what its last event brought, and the watch had
no time to write, is handed on.
"""

import os
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import NoReturn

from connectors.clean_text import clean_text
from connectors.errors import RecordingError
from connectors.recording import Conclusion, Header, Recording, is_compressed, read_recording
from connectors.telemetry import Event, Sample
from monitor.config import Profile
from monitor.core.alert_types import AlertTransition
from monitor.core.engine import Engine
from monitor.core.engine_input import EngineInput
from monitor.core.next_use import NextUses
from monitor.history.memory import History
from monitor.recording.inputs import input_in
from monitor.recording.place import open_to_append
from monitor.replay.comparison import recorded_mark, replayed_mark
from monitor.resume.feed import is_counter
from monitor.resume.past import past_moment
from monitor.resume.profile_change import profile_change
from monitor.resume.time_away import ClockPair, clock_pair
from monitor.step import Step


class CannotResumeError(Exception):
    """A recording cannot be taken up; the message says why."""


@dataclass
class CaughtUp:
    """What came of playing a recording into an engine. Grows as items are taken."""

    engine: Engine
    pair: ClockPair
    last_s: float = 0.0
    step: Step | None = None  # the newest
    counters_mm: dict[str, float] = field(default_factory=dict)
    unwritten: list[AlertTransition] = field(default_factory=list)  # changes of alerts by the last event, not recorded
    has_gaps: bool = False
    planned_s: float = 0.0  # how far the build was along its plan
    history: History = field(default_factory=History)  # as the recording's own summaries tell it, once a minute

    def take(self, item: Event | Conclusion) -> None:
        """Take in one line of the recording."""
        self.last_s = max(self.last_s, item.time_s)
        if not isinstance(item, Conclusion):
            self._advance(item)
            return
        told = input_in(item)
        if told is not None:
            self._advance(told)
            return
        self.pair = clock_pair(item) or self.pair
        self.has_gaps = self.has_gaps or item.kind == "gap"
        if item.kind == "assessment":
            self._remember(item)
        elif item.kind == "alert":
            mark = recorded_mark(item)
            self.unwritten = [it for it in self.unwritten if not mark.agrees(replayed_mark(it))]

    def remember_end(self) -> None:
        """Remember the newest moment."""
        if self.step is not None:
            self.history.take(self.step.assessment)

    def _remember(self, summary: Conclusion) -> None:
        moment = past_moment(summary.time_s, summary.data)
        if moment is not None:
            self.history.take(moment)

    def _advance(self, event: EngineInput) -> None:
        self.step = self.engine.advance(event)
        self.unwritten = list(self.step.transitions)
        if isinstance(event, NextUses):
            self.planned_s = event.planned_s
        if isinstance(event, Sample):
            self.counters_mm.update({name: value for name, value in event.values.items() if is_counter(name)})


@dataclass(frozen=True, slots=True)
class TakenUp:
    """A recording that is locked, and an engine that stands at its end.

    `header` has the columns that hold at its end; `descriptor` is open for appending and belongs to whoever goes on
    with the recording.
    """

    path: Path
    descriptor: int
    header: Header
    caught_up: CaughtUp
    skipped: int  # lines that could not be read

    def close(self) -> None:
        """Let the recording go."""
        os.close(self.descriptor)


def take_up(path: Path, profile: Profile) -> TakenUp:
    """Bring an engine to the end of a recording, and lock the recording.

    Raises
    ------
    CannotResumeError
        When it cannot be read or written, or belongs to another machine or another load.
    """
    with _telling_why():
        if is_compressed(path):
            _refuse("it is compressed, and only a plain recording can be gone on with")
        descriptor = open_to_append(path)
    try:
        with _telling_why():
            return _taken_up(path, descriptor, profile)
    except BaseException:
        os.close(descriptor)
        raise


@contextmanager
def _telling_why() -> Iterator[None]:
    """Turn whatever is wrong with a file into why it cannot be taken up."""
    try:
        yield
    except RecordingError as error:
        raise CannotResumeError(str(error)) from error
    except OSError as error:
        raise CannotResumeError(error.strerror or "it cannot be read") from error


def _refuse(why: str) -> NoReturn:
    raise CannotResumeError(why)


def _taken_up(path: Path, descriptor: int, profile: Profile) -> TakenUp:
    recording = read_recording(path)
    if not os.path.samestat(os.fstat(descriptor), path.stat()):
        _refuse("another file took its place meanwhile")
    caught_up = _caught_up(recording, profile)
    header = replace(recording.header, columns=recording.columns)
    return TakenUp(path, descriptor, header, caught_up, recording.skipped)


def _caught_up(recording: Recording, profile: Profile) -> CaughtUp:
    header, machine = recording.header, clean_text(profile.parameters.machine)
    if header.machine != machine:
        _refuse(f"it is of another machine, {header.machine!r}, and the profile is of {machine!r}")
    change = profile_change(header, profile)
    if change:
        _refuse(change)
    caught_up = CaughtUp(Engine(profile.parameters), ClockPair(0.0, header.start))
    with closing(recording.items()) as items:
        for item in items:
            caught_up.take(item)
    if recording.damage is not None:
        _refuse(recording.damage)
    if caught_up.step is None:
        _refuse("nothing was recorded in it")
    caught_up.remember_end()
    return caught_up
