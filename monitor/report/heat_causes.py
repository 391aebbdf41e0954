"""Causes that lie in the heat: manifold too cold or too hot, heater, cooling, softened and aged strands.

Weights are judgement.
"""

from typing import Final

from monitor.clock_text import span_text
from monitor.core.stall_findings import StallPattern
from monitor.report.cause_types import Cause, Evidence, Explanation
from monitor.report.features import LONG_BEFORE_S, Case

_BELOW_SET_K: Final = 6.0
_COLD_END_K: Final = 5.0
_COLD_END_MUCH_K: Final = 10.0
_FULL: Final = 0.95
_HALF_MIN: Final = 0.5
_FEEDS: Final = frozenset({"stall", "cold_feed", "melt"})


def cold_manifold(case: Case) -> Explanation | None:
    """The manifold was set too low for the strand that fed."""
    if case.failure.condition not in _FEEDS:
        return None
    evidence = [*_below_minimum(case), *_skipping(case)]
    began_s = case.cold_since_s()
    if case.lowered is not None:
        low = case.lowered
        evidence.append(Evidence(f"it was set from {low.from_c:.0f} down to {low.to_c:.0f} °C", 0.6))
        began_s = low.time_s
    elif case.below_set_k > _BELOW_SET_K:
        evidence.append(
            Evidence(f"its set point asked for {case.below_set_k:.0f} K more: it was not set too low", -0.6)
        )
    if case.below_minimum_k <= 0.0 and case.lowered is None:
        return None
    missing = [] if case.lowered is not None else ["who or what set the manifold so low is not in the data"]
    if case.strand is not None and case.strand.min_feed_is_rule:
        missing.append("the least feeding temperature is a rule of thumb; a bench test would tell it")
    return Explanation(Cause.COLD_MANIFOLD, "manifold", began_s, None, tuple(evidence), tuple(missing))


def heater(case: Case) -> Explanation | None:
    """A heater did not reach, or did not keep to, its set point."""
    alarms = case.incidents("heater_low", "heater_high")
    near = [told for told in alarms if told.raised_s >= case.time_s - LONG_BEFORE_S]
    evidence = [Evidence(told.worst_text, 0.7) for told in near[:2]]
    if case.failure.condition in _FEEDS and case.below_set_k > _BELOW_SET_K and case.lowered is None:
        duty = "" if case.merge_duty is None else f" at {case.merge_duty:.0%} duty"
        evidence.append(Evidence(f"the manifold stayed {case.below_set_k:.0f} K below its set point{duty}", 0.6))
        if case.merge_duty is not None and case.merge_duty >= _FULL:
            evidence.append(Evidence("its heater was fully on and did not reach it", 0.4))
    if not evidence:
        return None
    subject = near[0].subject if near else "manifold"
    missing = () if case.merge_duty is not None else ("no heater duty is reported: whether it was switched on",)
    missing = (*missing, "wire, supply and draught are not measured")
    began_s = min([told.raised_s for told in near] or [case.cold_since_s()])
    return Explanation(Cause.HEATER, subject, min(began_s, case.time_s), None, tuple(evidence), missing)


def hot_manifold(case: Case) -> Explanation | None:
    """The manifold was hotter than the material or a liner bears."""
    alarms = case.incidents("ceiling", "liner")
    if not alarms:
        return None
    is_it = case.failure.condition in {"ceiling", "liner"}
    evidence = [Evidence(told.worst_text, 0.7 if is_it else 0.3) for told in alarms[:2]]
    missing = ("whether the sensor told the truth: a loose one reads low and overheats the block",)
    return Explanation(Cause.HOT_MANIFOLD, "manifold", alarms[0].raised_s, None, tuple(evidence), missing)


def cooling(case: Case) -> Explanation | None:
    """The cold end has warmed: coolant, pump, radiator or fan."""
    alarms = case.incidents("cooling")
    evidence = [Evidence(told.worst_text, 0.75) for told in alarms[:1]]
    began_s = min([case.time_s, *(told.raised_s for told in alarms)])
    usual = case.cold_end
    if usual is not None and usual[1] - usual[0] >= _COLD_END_K:
        usual_c, now_c, since_s = usual
        weight = 0.6 if now_c - usual_c >= _COLD_END_MUCH_K else 0.3
        evidence.append(Evidence(f"the cold end rose from its usual {usual_c:.0f} to {now_c:.0f} °C", weight))
        began_s = min(began_s, since_s)
    concerned = case.failure.condition in {"cooling", "softening", "stall", "liner"}
    if not evidence or not concerned:
        return None
    missing = ["fan, pump and coolant flow are not measured: which of them faded"]
    if case.gathered.cold_sensor is None:
        missing.append("no sensor at the cold end")
    return Explanation(Cause.COOLING, "cold end", began_s, None, tuple(evidence), tuple(missing))


def softened(case: Case) -> Explanation | None:
    """The strand stood soft where it must be stiff."""
    alarms = [told for told in case.incidents("softening") if case.failure.input in {None, told.input}]
    evidence = [Evidence(told.worst_text, 0.6) for told in alarms[:1]]
    share = 0.0 if case.index is None or not case.before else case.before[-1].strands[case.index].softening_share
    if share >= _HALF_MIN:
        evidence.append(Evidence(f"it had taken {share:.0%} of the softening it bears", 0.5))
    if not evidence:
        return None
    if case.incidents("cooling"):
        evidence.append(Evidence("the cold end had warmed first: softening followed from that", -0.4))
    began_s = min([case.time_s, *(told.raised_s for told in alarms)])
    missing = ("how much softening a strand bears is judgement",)
    return Explanation(Cause.SOFTENED, case.failure.subject, began_s, None, tuple(evidence), missing)


def aged(case: Case) -> Explanation | None:
    """The strand stood hot until its material had aged."""
    evidence: list[Evidence] = []
    condition, strand = case.failure.condition, case.strand
    if condition in {"dose", "next_use", "shared"} and case.failure.incident is not None:
        evidence.append(Evidence(case.failure.incident.worst_text, 0.8))
    if strand is not None and case.index is not None and case.before:
        evidence += _dose_evidence(case, case.index, strand.warn_share)
    if not evidence:
        return None
    began_s = case.time_s if case.index is None else _standing_since_s(case, case.index)
    missing = ["dose limits are judgement, uncertain by a factor of three or so"]
    if strand is not None and strand.doubt:
        missing.append(f"least sure for this strand: the {strand.doubt}")
    return Explanation(Cause.AGED, case.failure.subject, began_s, None, tuple(evidence), tuple(missing))


def _dose_evidence(case: Case, index: int, warn_share: float) -> list[Evidence]:
    point = case.before[-1].strands[index]
    found = []
    if point.dose_share >= _HALF_MIN * warn_share:
        weight = 0.5 if point.dose_share >= warn_share else 0.2
        found.append(Evidence(f"its oldest part had taken {point.dose_share:.0%} of the dose limit", weight))
    if found and case.failure.condition == "dose":
        stood_s = case.time_s - _standing_since_s(case, index)
        found.append(Evidence(f"it had not been fed for {span_text(stood_s)}", 0.4))
    return found


def _standing_since_s(case: Case, index: int) -> float:
    """When it was last fed before the failure."""
    for row in reversed(case.before):
        if row.strands[index].idle_s > 0.0:
            return max(case.gathered.begin_s, row.time_s - row.strands[index].idle_s)
    return case.time_s


def _below_minimum(case: Case) -> list[Evidence]:
    if case.below_minimum_k <= 0.0 or case.strand is None:
        return []
    text = f"the manifold was up to {case.below_minimum_k:.0f} K below the {case.strand.min_feed_c:.0f} °C it needs"
    return [Evidence(text, 0.6)]


def _skipping(case: Case) -> list[Evidence]:
    skipping = [
        told
        for told in case.gathered.stalled
        if told.finding.pattern is StallPattern.COLD_SKIPPING and abs(told.seen_s - case.time_s) <= LONG_BEFORE_S
    ]
    return [Evidence(f"input {told.input} skipped: {'; '.join(told.finding.evidence)}", 0.5) for told in skipping[:3]]
