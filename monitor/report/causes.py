"""Why the first failure happened: every explanation that something speaks for, ranked by evidence. Pure.

Each cause is weighed by itself; the weights are judgement, and what they add up to is no probability. Reads only what
was gathered: samples and the engine's conclusions, never a name.
"""

from collections.abc import Callable
from typing import Final

from monitor.report.cause_types import Cause, Explanation, Failure, Findings
from monitor.report.failure import first_failure
from monitor.report.features import Case
from monitor.report.gathered import Gathered
from monitor.report.heat_causes import aged, cold_manifold, cooling, heater, hot_manifold, softened
from monitor.report.machine_causes import data_gap, sensor
from monitor.report.open_causes import stopped
from monitor.report.strand_causes import clog, grinding, jam, run_out, tangle

LEAST_WEIGHT: Final = 0.2
"""Explanations with less are not worth reading."""

_JUDGES: Final[tuple[Callable[[Case], Explanation | None], ...]] = (
    jam,
    run_out,
    tangle,
    grinding,
    clog,
    cold_manifold,
    heater,
    hot_manifold,
    cooling,
    softened,
    aged,
    sensor,
    data_gap,
    stopped,
)


def find_causes(gathered: Gathered) -> Findings:
    """The first failure, and what explains it, best first; of equals the one that began first."""
    failure = first_failure(gathered)
    if failure is None or not gathered.rows:
        return Findings(None, ())
    return Findings(failure, explanations_of(Case(gathered, failure)))


def explanations_of(case: Case) -> tuple[Explanation, ...]:
    """All explanations of one failure that carry any weight."""
    found = [explanation for judge in _JUDGES if (explanation := judge(case)) is not None]
    kept = [explanation for explanation in found if explanation.weight >= LEAST_WEIGHT]
    return tuple(sorted(kept, key=lambda told: (-round(told.weight, 6), told.began_s)))


def is_open(failure: Failure, explanations: tuple[Explanation, ...]) -> bool:
    """Whether the cause of a strand's stop stays open: nothing explains it well, or two do alike."""
    if failure.condition not in {"stall", "melt"}:
        return not explanations
    close = 0.1
    lead = [told.weight for told in explanations[:2]]
    if lead and explanations[0].cause is Cause.STOPPED:
        return True
    return not lead or lead[0] < 0.6 or (len(lead) > 1 and lead[0] - lead[1] < close)  # noqa: PLR2004 -- judgement


__all__ = ["Cause", "explanations_of", "find_causes", "is_open"]
