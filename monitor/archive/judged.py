"""One recording, judged anew from beginning to end: what it adds up to, as data that an index can hold.

A fault of the file is part of the answer, never an exception: an archive has all sorts of files in it.
"""

from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field, replace
from math import isfinite
from pathlib import Path
from typing import Final

from connectors.clean_text import clean_text
from connectors.errors import RecordingError
from connectors.recording import Conclusion, Header, Recording, read_recording
from monitor.archive.course import Course, Courses
from monitor.config import Profile, ProfileError, profile_from_tables
from monitor.core.alert_types import AlertState, AlertTransition, Priority
from monitor.core.engine import Engine
from monitor.core.engine_input import EngineInput
from monitor.recording.inputs import input_in
from monitor.totals import StrandTotals, Totals

LONGEST_GAP_S: Final = 366 * 86_400.0
"""A time further on than that is damage: doses would grow for decades."""
_LONGEST_FAULT: Final = 400
_AT_REST: Final = frozenset({AlertState.NORMAL, AlertState.RETURNED})


@dataclass(frozen=True, slots=True)
class Law:
    """By what a material's doses are reckoned: doses of different laws must not be mixed."""

    reference_c: float
    ea_below_kj_mol: float
    ea_above_kj_mol: float


@dataclass(frozen=True, slots=True, eq=False)
class JudgedStrand:
    """One strand of a recording, at its worst."""

    input: int
    material: str
    label: str
    stand_in: str
    law: Law
    highest_dose_min: float
    warn_min: float
    limit_min: float
    longest_idle_s: float
    fed_mm: float | None
    course: Course

    @property
    def share(self) -> float:
        """Highest dose as a share of its limit [-]."""
        return self.highest_dose_min / self.limit_min


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """One recording. `fault` says why it could not be judged, or not to its end; empty when all is well."""

    name: str
    fault: str = ""
    start_s: float = 0.0  # since 1970
    start_text: str = ""
    machine: str = ""
    source: str = ""
    duration_s: float = 0.0
    is_ended: bool = False
    strands: tuple[JudgedStrand, ...] = ()
    alerts: tuple[tuple[str, Priority], ...] = ()  # condition and highest priority of each alert that was raised

    @property
    def worst(self) -> JudgedStrand | None:
        """The strand nearest to its limit, or furthest past it."""
        return max(self.strands, key=lambda strand: strand.share, default=None)

    def raised(self, priority: Priority) -> int:
        """How many alerts there were of a priority."""
        return Counter(highest for _, highest in self.alerts)[priority]


def judge_file(path: Path) -> Judged:
    """Judge one recording."""
    name = path.name
    try:
        recording = read_recording(path)
        profile = profile_from_tables(recording.header.profile, recording.header.materials, name)
    except (RecordingError, ProfileError) as error:
        return Judged(name, _short(error))
    try:
        return _judged(name, recording, profile)
    except Exception as error:  # noqa: BLE001 -- one odd file must not end the judging of a thousand
        return replace(_named(name, recording.header), fault=f"could not be judged: {_short(repr(error))}")


@dataclass(slots=True)
class _Run:
    """A recording while it is judged."""

    totals: Totals
    courses: Courses = field(default_factory=Courses)
    alerts: dict[str, tuple[str, Priority]] = field(default_factory=dict)
    is_ended: bool = False
    time_s: float = 0.0

    def take_alert(self, transition: AlertTransition) -> None:
        alert = transition.alert
        if alert.state in _AT_REST or alert.folded_under:
            return
        before = self.alerts.get(alert.id, (alert.condition, alert.priority))
        self.alerts[alert.id] = (alert.condition, max(before[1], alert.priority))


def _judged(name: str, recording: Recording, profile: Profile) -> Judged:
    run = _Run(Totals(profile.parameters.limits.stale_after_s))
    engine = Engine(profile.parameters)
    fault = ""
    for told in _inputs(recording, run):
        if not isfinite(told.time_s) or told.time_s > run.time_s + LONGEST_GAP_S:
            fault = "a time in it jumps by more than a year; only what is before counts"
            break
        run.time_s = max(run.time_s, told.time_s)
        step = engine.advance(told)
        run.totals.take(step)
        for transition in step.transitions:
            run.take_alert(transition)
        if run.courses.is_due(run.time_s):
            run.courses.take(step.assessment)
    strands = tuple(_strand(totals, profile, run.courses) for totals in run.totals.strands())
    return replace(
        _named(name, recording.header),
        fault=fault or clean_text(recording.damage or "", _LONGEST_FAULT),
        duration_s=run.totals.end_s - (run.totals.begin_s or 0.0),
        is_ended=run.is_ended,
        strands=strands,
        alerts=tuple(run.alerts.values()),
    )


def _inputs(recording: Recording, run: _Run) -> Iterator[EngineInput]:
    with closing(recording.items()) as items:
        for item in items:
            if not isinstance(item, Conclusion):
                yield item
                continue
            if item.kind in {"end", "resumed"}:
                run.is_ended = item.kind == "end"
            told = input_in(item)
            if told is not None:
                yield told


def _strand(totals: StrandTotals, profile: Profile, courses: Courses) -> JudgedStrand:
    newest = totals.newest
    (material,) = (strand.material for strand in profile.parameters.strands if strand.input == newest.input)
    return JudgedStrand(
        input=newest.input,
        material=newest.material,
        label=newest.label,
        stand_in=newest.stand_in,
        law=Law(material.reference_c, material.ea_below_kj_mol, material.ea_above_kj_mol),
        highest_dose_min=totals.highest_dose_min,
        warn_min=newest.dose_warn_min,
        limit_min=newest.dose_limit_min,
        longest_idle_s=totals.longest_idle_s,
        fed_mm=newest.fed_mm,
        course=courses.of(newest.input),
    )


def _named(name: str, header: Header) -> Judged:
    return Judged(
        name,
        start_s=header.start.timestamp(),
        start_text=f"{header.start:%Y-%m-%d %H:%M}",
        machine=header.machine,
        source=header.source,
    )


def _short(error: object) -> str:
    return clean_text(str(error).replace("\n", "; "), _LONGEST_FAULT)
