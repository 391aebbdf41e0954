"""What the heater's power balance alone sees of a full stall: part of `tests.benchmarks.stalls`."""

from collections.abc import Iterator, Sequence
from math import inf, isfinite
from typing import Final, NamedTuple

from monitor.core.heater_balance import (
    HeaterReading,
    advance_balance,
    initial_balance,
    is_missing,
    why_unavailable,
)
from tests.benchmarks.stall_scores import poisson_most, quantiles
from tests.stall_judge.heater import HeaterCase, heater_case

DRAUGHTS_W: Final = (0.25, 0.5, 1.0)
FLOWS: Final = ((2.0, 4.0), (5.0, 8.0), (8.0, 12.0))
GOAL: Final = (250.0, 400.0)
GOAL_LEAST_FLOW: Final = 5.0
GOAL_MOST_W: Final = 0.5


class HeaterVerdict(NamedTuple):
    """What the balance made of a case: delay in commanded mm, inf if nothing was said."""

    delay_mm: float
    is_available: bool  # at the onset


def judge_heater(case: HeaterCase) -> HeaterVerdict:
    """Run the balance until it speaks."""
    state, is_available = initial_balance(), False
    for row, mark_mm in zip(case.rows, case.mark_mm.tolist(), strict=True):
        state = advance_balance(state, HeaterReading(*row))
        if mark_mm <= case.onset_mm:
            is_available = why_unavailable(state) is None
        if is_missing(state):
            return HeaterVerdict(mark_mm - case.onset_mm, is_available)
    return HeaterVerdict(inf, is_available)


def false_alarms(hours: float, draught_w: float, seed: int) -> tuple[int, float]:
    """Alarms in healthy feed of mixed flows, and the feeding hours judged; after an alarm the balance begins anew."""
    alarms, judged_h = 0, 0.0
    while judged_h < hours:
        case = heater_case(seed, draught_w, (2.0, 12.0), stops=False)
        state = initial_balance()
        for row in case.rows:
            state = advance_balance(state, HeaterReading(*row))
            if is_missing(state):
                alarms, state = alarms + 1, initial_balance()
        judged_h, seed = judged_h + case.feeding_s / 3600, seed + 1
    return alarms, judged_h


def heater_table(seeds: range) -> Iterator[Sequence[str]]:
    """Delays of a full stall, in commanded mm."""
    yield ("draught W", "flow mm³/s", "cases", "unavailable", "median", "p90", "missed", "early", "goal")
    for draught_w in DRAUGHTS_W:
        for flows in FLOWS:
            yield _heater_row(draught_w, flows, seeds)


def _heater_row(draught_w: float, flows: tuple[float, float], seeds: range) -> Sequence[str]:
    verdicts = [judge_heater(heater_case(seed, draught_w, flows, stops=True)) for seed in seeds]
    early = [verdict for verdict in verdicts if verdict.delay_mm < 0]
    seen = [verdict.delay_mm for verdict in verdicts if verdict.is_available and verdict.delay_mm >= 0]
    median_mm, p90_mm, _ = quantiles(seen or [inf])
    is_goal = flows[0] >= GOAL_LEAST_FLOW and draught_w <= GOAL_MOST_W
    goal = "met" if median_mm <= GOAL[0] and p90_mm <= GOAL[1] else "MISSED"
    return (
        f"{draught_w}",
        f"{flows[0]:g}–{flows[1]:g}",
        f"{len(seeds)}",
        f"{len(seeds) - len(seen) - len(early)}",
        *(f"{value:.0f}" if isfinite(value) else "missed" for value in (median_mm, p90_mm)),
        f"{sum(not isfinite(value) for value in seen)}",
        f"{len(early)}",
        f"≤ {GOAL[0]:g}, ≤ {GOAL[1]:g}: {goal}" if is_goal else "–",
    )


def heater_alarm_table(hours: float, seed: int) -> Iterator[Sequence[str]]:
    """False alarms of the balance."""
    yield ("draught W", "feeding h", "alarms", "per 1000 h", "95 % bound")
    for draught_w in DRAUGHTS_W:
        alarms, judged_h = false_alarms(hours / len(DRAUGHTS_W), draught_w, seed)
        rate = alarms / judged_h * 1000
        yield (f"{draught_w}", f"{judged_h:.0f}", f"{alarms}", f"{rate:.2f}", f"{poisson_most(alarms, judged_h):.2f}")
