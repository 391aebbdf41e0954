"""What stall detection makes of cases of the judge: when it speaks, what it calls it, and what a sample costs."""

import time
from collections.abc import Iterator
from dataclasses import dataclass
from math import inf
from typing import Final, NamedTuple

import numpy as np
from scipy.stats import chi2

from monitor.core.stall import (
    Drive,
    FeedReading,
    StallFinding,
    StallLaw,
    advance_stall,
    finding,
    initial_stall,
    stall_law,
)
from tests.stall_judge.cases import Case, healthy_case
from tests.stall_judge.telemetry import Telemetry

WATCHED_MM: Final = 120.0
"""After its first word the detector gets so much more feed to settle the class."""
CLOG_OVER_MM: Final = 30.0


class Verdict(NamedTuple):
    """What was said of one case."""

    delay_mm: float  # commanded from the true onset to the first word; inf if there was none
    is_early: bool  # spoke before the onset: a false alarm
    first: str  # class at the first word, '' if none
    final: str
    detector: str
    slip: float  # true share lost when it spoke, over the last 30 mm
    onset_error_mm: float  # true onset outside the span that was told, by so much


def law_of(case: Case) -> StallLaw:
    """The law for what the owner's profile would tell of the rig."""
    cycle_mm = case.motor_cycle_mm
    drive = Drive(
        mm_per_full_step=None if cycle_mm is None else cycle_mm / 4,
        motor_current_a=None,
        rated_current_a=None,
        encoder_mm_per_count=case.rig.count_mm,
    )
    return stall_law(drive, filament_diameter_mm=1.75, min_feed_c=case.rig.least_c, report_period_s=case.rig.period_s)


def judge(case: Case, telemetry: Telemetry | None = None) -> Verdict:
    """Run the detector over the case until its class is settled."""
    told = case.telemetry if telemetry is None else telemetry
    words = list(_words(law_of(case), told))
    if not words:
        return Verdict(inf, is_early=False, first="", final="", detector="", slip=0.0, onset_error_mm=0.0)
    index, first = words[0]
    mark_mm = float(told.mark_mm[index])
    is_early = told.rows[index].time_s < case.fed.onset_s
    return Verdict(
        delay_mm=mark_mm - case.fed.onset_mm,
        is_early=is_early,
        first=str(first.pattern.value),
        final=str(words[-1][1].pattern.value),
        detector=first.detector,
        slip=_slip_at(case, mark_mm),
        onset_error_mm=_outside(case.fed.onset_mm, first),
    )


def _words(law: StallLaw, told: Telemetry) -> Iterator[tuple[int, StallFinding]]:
    """The first finding and the one that settles the class."""
    state, first_mm, last = initial_stall(law), None, None
    for index, row in enumerate(told.rows):
        state = advance_stall(law, state, FeedReading(*row))
        found = finding(law, state)
        if found is None:
            continue
        if first_mm is None:
            first_mm = told.mark_mm[index]
            yield index, found
        last = (index, found)
        if found.is_final or told.mark_mm[index] > first_mm + WATCHED_MM:
            break
    if last is not None:
        yield last


def _slip_at(case: Case, mark_mm: float) -> float:
    fed = case.fed
    near = (fed.mark_mm <= mark_mm) & (fed.mark_mm > mark_mm - CLOG_OVER_MM)
    new_mm = fed.new_mm[near]
    return float((fed.lost_share[near] * new_mm).sum() / max(new_mm.sum(), 1e-9))


def _outside(onset_mm: float, found: StallFinding) -> float:
    low_mm, high_mm = found.onset_mm
    return max(low_mm - onset_mm, onset_mm - high_mm, 0.0)


@dataclass(slots=True)
class Tally:
    """Healthy feed judged so far."""

    feeding_h: float = 0.0
    fed_m: float = 0.0
    samples: int = 0
    judged_s: float = 0.0
    alarms: int = 0
    detectors: tuple[str, ...] = ()
    names: tuple[str, ...] = ()

    def add(self, case: Case, told: Telemetry) -> None:
        """Judge one healthy build; after an alarm the detector begins anew."""
        law = law_of(case)
        readings = [FeedReading(*row) for row in told.rows]
        state = initial_stall(law)
        begin_s = time.process_time()
        for reading in readings:
            state = advance_stall(law, state, reading)
            found = finding(law, state)
            if found is not None:
                self.alarms += 1
                self.detectors += (found.detector,)
                self.names += (case.name,)
                state = initial_stall(law)
        self.judged_s += time.process_time() - begin_s
        self.feeding_h += case.fed.feeding_s / 3600
        self.fed_m += float(case.fed.mark_mm[-1]) / 1000
        self.samples += len(readings)

    def plus(self, other: "Tally") -> "Tally":
        """Sum of both."""
        return Tally(
            self.feeding_h + other.feeding_h,
            self.fed_m + other.fed_m,
            self.samples + other.samples,
            self.judged_s + other.judged_s,
            self.alarms + other.alarms,
            self.detectors + other.detectors,
            self.names + other.names,
        )


def healthy_hours(kind: str, hours: float, first_seed: int = 0) -> Tally:
    """Judge healthy builds of one kind of rig until so many feeding hours are reached."""
    tally, seed = Tally(), first_seed
    new_mm = min(20_000.0, max(1_500.0, hours * 7_000.0))
    while tally.feeding_h < hours:
        case = healthy_case(kind, seed, new_mm)
        tally.add(case, case.telemetry)
        seed += 1
    return tally


def poisson_most(alarms: int, hours: float) -> float:
    """Upper 95 % bound (one-sided, exact) of the rate per 1000 h."""
    return float(chi2.ppf(0.95, 2 * (alarms + 1))) / 2 / hours * 1000


def quantiles(values: list[float]) -> tuple[float, float, float]:
    """Median, p90, p99; what was missed counts as infinitely late."""
    ordered = np.sort(np.array(values))
    picked = [ordered[min(len(ordered) - 1, int(np.ceil(share * len(ordered))) - 1)] for share in (0.5, 0.9, 0.99)]
    return float(picked[0]), float(picked[1]), float(picked[2])
