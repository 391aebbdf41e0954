"""Conclusions as plain data, the same for recordings and for ``--json``: keys carry their units, JSON can hold it all.

`output.schema.json` beside this file documents the keys. What is infinite or unknown becomes null. Profiles along the
strand stay out: they can be computed again from a recording.
"""

from collections.abc import Mapping
from math import isfinite
from typing import Any, Final

import msgspec

from monitor.core.advice_types import Advice
from monitor.core.alert_types import Alert, AlertTransition, Priority
from monitor.core.assessment import Assessment, LinerReading, SharedReading, StrandAssessment, WallReading
from monitor.core.stall_findings import BalanceSight, StallFinding

Plain = dict[str, Any]

_ONE_TO_ONE: Final = (
    "idle_s",
    "idle_low_s",
    "feed_mm_s",
    "fed_mm",
    "dose_now_min",
    "dose_low_min",
    "dose_warn_min",
    "dose_limit_min",
    "reference_c",
    "hottest_c",
    "glass_c",
    "softening_min",
    "softening_warn_min",
    "softening_limit_min",
    "soft_front_mm",
    "stiff_from_mm",
    "merge_wall_c",
    "min_feed_c",
    "next_use_s",
)
"""Numbers of a strand that keep their names."""


def output_line(kind: str, time_s: float, data: Mapping[str, Any]) -> str:
    """One line of ``--json`` output, without its newline.

    >>> output_line("end", 3.5, {"reason": "the recording ended"})
    '{"kind":"end","time_s":3.5,"reason":"the recording ended"}'
    """
    return msgspec.json.encode({"kind": kind, "time_s": time_s, **data}).decode()


def assessment_data(assessment: Assessment) -> Plain:
    """Summary of an assessment: all but its time and the arrays along the strands."""
    return {
        "machine": assessment.machine,
        "execution": assessment.execution,
        "progress": _number(assessment.progress),
        "link_available": assessment.link_available,
        "link_reason": assessment.link_reason,
        "sample_age_s": _number(assessment.sample_age_s),
        "quality": assessment.quality,
        "condition": assessment.condition,
        "walls": [_wall(wall) for wall in assessment.walls],
        "strands": [_strand(strand) for strand in assessment.strands],
        "liners": [_liner(liner) for liner in assessment.liners],
        "shared": [_shared(held) for held in assessment.shared],
        "alerts": [_alert(alert) for alert in assessment.alerts],
        "held_back": [_alert(alert) for alert in assessment.held_back],
        "advice": [_advice(piece) for piece in assessment.advice],
        "balances": [_balance(sight) for sight in assessment.balances],
        "counts": dict(assessment.counts),
    }


def flow_slip_data(assessment: Assessment) -> Plain:
    """What slip was observed on each input, by flow and manifold temperature; lower edges of the bins."""
    return {
        "inputs": [
            {"input": strand.input, "bins": [bin_._asdict() for bin_ in strand.flow_slip]}
            for strand in assessment.strands
            if strand.flow_slip
        ]
    }


def transition_data(transition: AlertTransition) -> Plain:
    """A change of an alert's state: the alert's own keys, and what happened to it."""
    return {
        "event": transition.event,
        "previous_state": transition.previous,
        "actor": transition.actor,
        "quality": transition.quality,
        **_alert(transition.alert),
    }


def end_data(reason: str, raised: Mapping[Priority, int], counts: Mapping[str, int]) -> Plain:
    """Last words of a watch: why it ended, how many alerts of each priority were raised, how many events it saw."""
    return {
        "reason": reason,
        "alerts_raised": {priority.name: raised.get(priority, 0) for priority in Priority},
        "counts": dict(counts),
    }


def _number(value: float | None) -> float | None:
    return float(value) if value is not None and isfinite(value) else None


def _wall(wall: WallReading) -> Plain:
    return {
        "sensor": wall.sensor,
        "temp_c": _number(wall.temp_c),
        "set_c": _number(wall.set_c),
        "duty": _number(wall.duty),
        "quality": wall.quality,
        "age_s": _number(wall.age_s),
        "is_estimate": wall.is_estimate,
    }


def _strand(strand: StrandAssessment) -> Plain:
    return {
        "input": strand.input,
        "material": strand.material,
        "label": strand.label,
        "stand_in": strand.stand_in,
        "stand_in_for": list(strand.stand_in_for),
        "activity": strand.activity,
        "condition": strand.condition,
        "quality": strand.quality,
        **{name: _number(getattr(strand, name)) for name in _ONE_TO_ONE},
        "min_feed_is_rule": strand.min_feed_is_rule,
        "warn_left_low_s": _number(strand.warn_left_s.low),
        "warn_left_high_s": _number(strand.warn_left_s.high),
        "limit_left_low_s": _number(strand.limit_left_s.low),
        "limit_left_high_s": _number(strand.limit_left_s.high),
        "is_used_again": None if strand.next_use_s is None else isfinite(strand.next_use_s),
        "doubt": strand.doubt,
        "stall": None if strand.stall is None else _stall(strand.stall),
    }


def _stall(stall: StallFinding) -> Plain:
    return {
        "pattern": stall.pattern,
        "is_final": stall.is_final,
        "detector": stall.detector,
        "slip": _number(stall.slip),
        "lost_mm": _number(stall.lost_mm),
        "over_mm": _number(stall.over_mm),
        "onset_low_mm": _number(stall.onset_mm.low),
        "onset_high_mm": _number(stall.onset_mm.high),
        "evidence": list(stall.evidence),
    }


def _liner(liner: LinerReading) -> Plain:
    return {
        "zone": liner.zone,
        "liner": liner.liner,
        "hottest_c": _number(liner.hottest_c),
        "warn_c": _number(liner.warn_c),
        "alarm_c": _number(liner.alarm_c),
        "stop_c": _number(liner.stop_c),
        "above_warn_s": _number(liner.above_warn_s),
        "above_alarm_s": _number(liner.above_alarm_s),
        "above_stop_s": _number(liner.above_stop_s),
    }


def _shared(held: SharedReading) -> Plain:
    return {
        "input": held.input,
        "share": _number(held.share),
        "age_s": _number(held.age_s),
        "dose_min": _number(held.dose_min),
        "dose_warn_min": _number(held.dose_warn_min),
        "dose_limit_min": _number(held.dose_limit_min),
    }


def _balance(sight: BalanceSight) -> Plain:
    return {
        "heater": sight.heater,
        "inputs": list(sight.inputs),
        "why_not": sight.why_not,
        "least_j": _number(sight.least_j),
        "least_mm": _number(sight.least_mm),
        "least_share": _number(sight.least_share),
    }


def _advice(piece: Advice) -> Plain:
    return {
        "kind": piece.kind,
        "input": piece.input,
        "is_advised": piece.is_advised,
        "text": piece.text,
        "reason": piece.reason,
        "caution": piece.caution,
        "figures": {name: _number(value) for name, value in piece.figures},
        "lines": list(piece.lines),
        "lines_note": piece.lines_note,
    }


def _alert(alert: Alert) -> Plain:
    return {
        "id": alert.id,
        "condition": alert.condition,
        "subject": alert.subject,
        "input": alert.input,
        "priority": alert.priority.name,
        "state": alert.state,
        "since_s": _number(alert.since_s),
        "text": alert.text,
        "action": alert.action,
        "value": _number(alert.value),
        "limit": _number(alert.limit),
        "unit": alert.unit,
        "also": list(alert.also),
        "folded_under": alert.folded_under,
        "why_held_back": alert.why_held_back,
        "held_back_until_s": _number(alert.held_back_until_s),
    }
