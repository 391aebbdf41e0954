"""What is left to say when a strand stopped and nothing tells why: which it may be, and what would have told."""

from collections.abc import Iterator

from monitor.core.stall_findings import StallPattern
from monitor.report.cause_types import Cause, Evidence, Explanation
from monitor.report.features import AROUND_S, Case
from monitor.report.rows import StrandPoint, between

_LEAST_MM = 1.0


def stopped(case: Case) -> Explanation | None:
    """A strand does not arrive; jam, run-out, tangle and grinding look alike from what was reported."""
    if case.failure.condition == "melt":
        return _unseen(case)
    if case.stall is None or case.stall.pattern is not StallPattern.STRAND_STOPPED:
        return None
    said = Evidence(f"it stopped, and its pattern is none that is known: {'; '.join(case.stall.evidence)}", 0.35)
    missing = tuple(_missing(case, case.index))
    return Explanation(Cause.STOPPED, case.failure.subject, case.time_s, None, (said,), missing)


def _unseen(case: Case) -> Explanation:
    """A heater tells that less is melted than is fed: most likely what fed most just before."""
    text = case.failure.subject if case.failure.incident is None else case.failure.incident.worst_text
    evidence = [Evidence(text, 0.6)]
    index = _fed_most(case)
    subject = "a strand" if index is None else f"input {case.gathered.strands[index].input}"
    if index is not None:
        evidence.append(Evidence(f"{subject} fed most in the ten minutes before", 0.2))
    return Explanation(Cause.STOPPED, subject, case.time_s, None, tuple(evidence), tuple(_missing(case, index)))


def _fed_most(case: Case) -> int | None:
    rows = between(case.gathered.rows, case.time_s - AROUND_S, case.time_s)
    if not rows:
        return None
    pairs = zip(rows[0].strands, rows[-1].strands, strict=True)
    fed_mm = [last.commanded_travel_mm - first.commanded_travel_mm for first, last in pairs]
    most_mm = max(fed_mm, default=0.0)
    return fed_mm.index(most_mm) if most_mm > _LEAST_MM else None


def _missing(case: Case, index: int | None) -> Iterator[str]:
    if index is not None:
        yield from motion_missing(case.gathered.strands[index].input, case.gathered.rows[-1].strands[index])
    yield "the strand itself: whether its spool is empty or tangled, its drive has dug in, or its tip has swollen"


def motion_missing(number: int, last: StrandPoint) -> Iterator[str]:
    """What would tell how a strand moved, and is not there; `last` is the newest that is known of it."""
    if last.sensed_mm is None:
        yield f"no encoder on input {number}: whether it moved is not known"
    if last.flags is None:
        yield f"no stall flags from the driver of input {number}: whether it pulled in vain is not known"
