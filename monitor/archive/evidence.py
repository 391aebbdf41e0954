"""What marked recordings tell of a material: doses at which its strands were used fine, or jammed. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, log
from typing import NamedTuple

from monitor.archive.course import JAM_WINDOW_S, dose_at_min, highest_used_min
from monitor.archive.judged import JudgedStrand, Law
from monitor.archive.outcomes import FINE, JAM, Outcome
from monitor.archive.threshold import Trial

LEAST_DOSE_MIN = 0.01
"""Doses below are as good as none; their ln would only stretch the axis [min]."""


class Mark(NamedTuple):
    """One marked recording."""

    name: str
    outcome: Outcome
    strands: Sequence[JudgedStrand]


@dataclass(frozen=True, slots=True)
class Case:
    """One strand of a marked recording: used fine at doses up to `used_min`; it jammed at `jam_min`, or not (None)."""

    recording: str
    input: int
    used_min: float | None
    jam_min: float | None

    @property
    def trial(self) -> Trial:
        """The same as ln of doses. A jam at a dose below one that was fine tells of its dose alone."""
        above = -inf if self.used_min is None else log(max(self.used_min, LEAST_DOSE_MIN))
        if self.jam_min is None:
            return Trial(above=above)
        up_to = log(max(self.jam_min, LEAST_DOSE_MIN))
        return Trial(above=above if above < up_to else -inf, up_to=up_to)


@dataclass(frozen=True, slots=True)
class Evidence:
    """What is known of one material, and what was left out, with the reason."""

    material: str
    cases: tuple[Case, ...]
    left_out: tuple[str, ...] = ()

    @property
    def jams(self) -> tuple[Case, ...]:
        """Cases that jammed."""
        return tuple(case for case in self.cases if case.jam_min is not None)


def evidence_of(material: str, law: Law, marks: Sequence[Mark]) -> Evidence:
    """Gather it. Doses of another law, and strands whose values were borrowed, are left out and named."""
    cases: list[Case] = []
    left_out: list[str] = []
    for mark in marks:
        if mark.outcome.kind not in {FINE, JAM}:
            continue
        for strand in mark.strands:
            if strand.material != material:
                continue
            if strand.law != law or strand.stand_in:
                why = "its doses were borrowed" if strand.stand_in else "its doses were reckoned by other material data"
                left_out.append(f"{mark.name}, input {strand.input}: {why}")
                continue
            case = _case(mark, strand)
            if case is not None:
                cases.append(case)
    return Evidence(material, tuple(cases), tuple(left_out))


def materials_marked(marks: Sequence[Mark]) -> list[str]:
    """Materials of marked recordings, each once."""
    return sorted({strand.material for mark in marks for strand in mark.strands})


def _case(mark: Mark, strand: JudgedStrand) -> Case | None:
    """What one strand tells; None when it was never pushed, so that nothing shows whether it would have jammed."""
    outcome = mark.outcome
    has_jammed = outcome.kind == JAM and outcome.input == strand.input
    # feed is what was commanded: the push that failed must not count as a use
    until_s = outcome.at_s - JAM_WINDOW_S if has_jammed and outcome.at_s is not None else None
    used_min = highest_used_min(strand.course, until_s)
    if not has_jammed:
        return None if used_min is None else Case(mark.name, strand.input, used_min, None)
    jam_min = dose_at_min(strand.course, outcome.at_s)
    if jam_min is None:
        return None
    if outcome.at_s is None:  # when it jammed is not known, so nor is what was fine before
        used_min = None
    return Case(mark.name, strand.input, used_min, jam_min)
