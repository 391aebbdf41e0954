"""Causes that lie in a strand's own way: jam, run-out, tangle, grinding, clog. Weights are judgement."""

from typing import Final

from monitor.clock_text import span_text
from monitor.core.stall_findings import StallPattern
from monitor.report.cause_types import Cause, Evidence, Explanation
from monitor.report.features import STANDS_S, Case
from monitor.report.open_causes import motion_missing

_RULES: Final = 0.6
"""What the pattern that the detectors found weighs; the rules behind it: monitor/core/stalls.md."""
_LONG_IDLE_S: Final = 1200.0
_ENOUGH_MM: Final = 10.0
_FLAGS: Final = 2
_STANDS_MM: Final = 1.0
_CREEPS: Final = 0.75
"""Share of the feed up to which a strand counts as held or slipping, and above which its way is merely narrow."""
_MUCH: Final = 0.3
"""Share lost at the first alarm that a clog, which grows, does not begin with."""
_OPEN: Final = frozenset({StallPattern.STRAND_STOPPED, StallPattern.SLOW_CLOG})


def jam(case: Case) -> Explanation | None:
    """The strand had stood hot and stuck when it was taken up."""
    if case.failure.condition != "stall":
        return None
    evidence = [*_pattern(case, StallPattern.JAM_AFTER_IDLE)]
    if case.stood_s >= _LONG_IDLE_S:
        evidence.append(Evidence(f"it had stood hot for {span_text(case.stood_s)} when it was taken up", 0.35))
    if _stood_unusually(case):
        earlier = span_text(case.idle_before_s)
        evidence.append(Evidence(f"earlier it had stood {earlier} at the longest, and fed well after", 0.35))
    elif evidence and case.idle_before_s > 0.0:
        earlier = span_text(case.idle_before_s)
        evidence.append(Evidence(f"it had stood {earlier} before, not much less, and fed well after", -0.4))
    if evidence and (case.flags_near or 0) >= _FLAGS:
        evidence.append(Evidence(f"the driver flagged a stall in {case.flags_near} samples: the drive skips", 0.2))
    missing = (*_motion_missing(case), "its tip: withdrawn, a jammed strand is swollen or charred")
    return _explained(case, Cause.JAM_AFTER_IDLE, evidence, case.time_s - case.stood_s, missing)


def _stood_unusually(case: Case) -> bool:
    """Whether it had just stood hot for much longer than ever before."""
    return case.stood_s >= _LONG_IDLE_S and case.stood_s > 1.5 * case.idle_before_s


def run_out(case: Case) -> Explanation | None:
    """No strand is left in the encoder."""
    if not _stopped(case):
        return None
    evidence = [*_pattern(case, StallPattern.RUN_OUT_OR_TANGLE, 0.4)]
    moved = case.moved
    if moved is not None and moved.sensed_mm is not None and moved.commanded_mm >= _ENOUGH_MM:
        text = f"the encoder saw {moved.sensed_mm:.1f} mm while {moved.commanded_mm:.0f} mm were commanded both ways"
        is_still = moved.sensed_mm <= _STANDS_MM
        evidence.append(Evidence(f"{text}{': it stands still' if is_still else ''}", 0.65 if is_still else -0.6))
    evidence += _flag_evidence(case, few=0.3, many=-0.6)
    missing = (*_motion_missing(case), "the spool itself: look whether it is empty")
    return _explained(case, Cause.RUN_OUT, evidence, _onset_s(case), missing)


def tangle(case: Case) -> Explanation | None:
    """The drive pulls against a strand that is held."""
    if not _stopped(case):
        return None
    evidence = [*_pattern(case, StallPattern.RUN_OUT_OR_TANGLE, 0.4), *_flag_evidence(case, few=-0.6, many=0.55)]
    moved = case.moved
    if moved is not None and moved.sensed_mm is not None and moved.commanded_mm >= _ENOUGH_MM:
        is_held = _STANDS_MM < moved.sensed_mm < _CREEPS * moved.commanded_mm
        text = f"it still moved {moved.sensed_mm:.1f} mm to and fro while {moved.commanded_mm:.0f} mm were commanded"
        evidence.append(Evidence(text, 0.35 if is_held else -0.5))
    if _stood_unusually(case):
        evidence.append(Evidence("it stuck just when it was taken up after standing hot", -0.5))
    missing = (*_motion_missing(case), "the spool itself: look whether loops have drawn tight")
    return _explained(case, Cause.TANGLE, evidence, _onset_s(case), missing)


def grinding(case: Case) -> Explanation | None:
    """The drive turns on while the strand hardly moves."""
    if not _stopped(case):
        return None
    evidence = [*_pattern(case, StallPattern.GRINDING), *_flag_evidence(case, few=0.3, many=-0.6)]
    moved = case.moved
    if moved is not None and moved.sensed_mm is not None and moved.commanded_mm >= _ENOUGH_MM:
        creeps = _STANDS_MM < moved.sensed_mm < _CREEPS * moved.commanded_mm
        text = f"the strand crept {moved.sensed_mm:.1f} mm while {moved.commanded_mm:.0f} mm were commanded both ways"
        evidence.append(Evidence(text, 0.4 if creeps else -0.5))
    if _loses_much(case) and case.flags_near is not None and case.flags_near < _FLAGS:
        evidence.append(Evidence("so much was lost at once, and smoothly, without skips", 0.3))
    missing = (*_motion_missing(case), "the strand at its drive: look for a groove and dust")
    return _explained(case, Cause.GRINDING, evidence, _onset_s(case), missing)


def clog(case: Case) -> Explanation | None:
    """A growing share of the feed does not arrive, though the manifold is warm enough."""
    if not _stopped(case):
        return None
    evidence = [*_pattern(case, StallPattern.SLOW_CLOG, 0.7), *_still_moves(case)]
    if StallPattern.SLOW_CLOG in case.later and case.stall is not None and case.stall.pattern in _OPEN:
        evidence.append(Evidence(f"later its stops were settled to be a {StallPattern.SLOW_CLOG}", 0.4))
    if not evidence:
        return None
    if _loses_much(case):
        evidence.append(Evidence("so much was lost at once; a clog grows", -0.5))
    if case.below_minimum_k <= 0.0:
        evidence.append(Evidence(f"the manifold is warm enough, {-case.below_minimum_k:.0f} K over its minimum", 0.3))
    else:
        evidence.append(Evidence("the manifold is too cold, which explains it as well", -0.6))
    missing = (*_motion_missing(case), "what lies in the channel: char, swollen strand or dirt look alike from outside")
    explanation = _explained(case, Cause.CLOG, evidence, _first_onset_s(case), missing)
    return None if explanation is None else _with_range(case, explanation)


def _loses_much(case: Case) -> bool:
    return case.stall is not None and case.stall.slip >= _MUCH


def _still_moves(case: Case) -> list[Evidence]:
    """Most of the feed arrives after the alarm: the way is narrow, not closed."""
    moved = case.moved
    if moved is None or moved.sensed_mm is None or moved.commanded_mm < _ENOUGH_MM:
        return []
    share = moved.sensed_mm / moved.commanded_mm
    if share < _CREEPS:
        return []
    return [Evidence(f"{share:.0%} of the feed still arrived after it: the way is narrow, not closed", 0.4)]


def _stopped(case: Case) -> bool:
    return case.failure.condition == "stall"


def _pattern(case: Case, pattern: StallPattern, weight: float = _RULES) -> list[Evidence]:
    """What the detectors found, where it is this pattern."""
    if case.stall is None or case.stall.pattern is not pattern:
        return []
    open_words = "" if case.stall.is_final else ", though it had not settled when the recording ended"
    said = "; ".join(case.stall.evidence)
    return [Evidence(f"the stall's pattern is {pattern}{open_words}: {said}", weight)]


def _flag_evidence(case: Case, *, few: float, many: float) -> list[Evidence]:
    flags = case.flags_near
    if flags is None or case.stall is None:
        return []
    if flags >= _FLAGS:
        return [Evidence(f"the driver flagged a stall in {flags} samples: it pulls against a held strand", many)]
    return [Evidence(f"the driver flagged a stall in {flags} samples", few)]


def _onset_s(case: Case) -> float:
    """When it began, by the commanded feed of the last reading at which all was well."""
    at_s = None if case.stall is None else case.fed_at_s(case.stall.onset_mm.high)
    return case.time_s if at_s is None else min(at_s, case.time_s)


def _first_onset_s(case: Case) -> float:
    at_s = None if case.stall is None else case.fed_at_s(case.stall.onset_mm.low)
    return case.time_s if at_s is None else min(at_s, case.time_s)


def _with_range(case: Case, told: Explanation) -> Explanation:
    until_s = _onset_s(case)
    if until_s - told.began_s < STANDS_S:
        return told
    return Explanation(told.cause, told.subject, told.began_s, until_s, told.evidence, told.missing)


def _motion_missing(case: Case) -> tuple[str, ...]:
    """What would tell how the strand moved, and is not there."""
    found = [] if case.failure.input is None else [*motion_missing(case.failure.input, case.last)]
    if case.stall is not None and not case.stall.is_final:
        found.append("too little was fed after the alarm for the pattern to settle")
    return tuple(found)


def _explained(
    case: Case, cause: Cause, evidence: list[Evidence], began_s: float, missing: tuple[str, ...]
) -> Explanation | None:
    if not any(piece.weight > 0.0 for piece in evidence):
        return None
    return Explanation(cause, case.failure.subject, began_s, None, tuple(evidence), missing)
