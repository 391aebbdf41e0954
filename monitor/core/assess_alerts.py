"""From the engine's state to alerts in words: those that stand, and what changed with an event. Changes nothing."""

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from monitor.core.advice import advise
from monitor.core.advice_types import Advice
from monitor.core.alert_facts import Facts, SensorFacts
from monitor.core.alert_record import Change, Record, priority_of
from monitor.core.alert_texts import alert_action, alert_limit, alert_text
from monitor.core.alert_types import Alert, AlertState, AlertTransition
from monitor.core.assess_parts import liner_readings, shared_readings
from monitor.core.assess_strand import assess_strand
from monitor.core.assessment import Array, LinerReading, StrandAssessment
from monitor.core.causes import leaders_of
from monitor.core.data_age import data_quality
from monitor.core.engine_state import EngineState, Model
from monitor.core.readings import wall_readings
from monitor.core.sensor_trace import is_under_way, jumps_lately, still_s
from monitor.core.set_point import enough_c, neediest
from monitor.core.suppression import may_build


class Known(NamedTuple):
    """What an alert's words may draw on."""

    strands: tuple[StrandAssessment, ...]
    liners: tuple[LinerReading, ...]
    advice: tuple[Advice, ...]


def alerts_now(model: Model, state: EngineState, values: Array, known: Known) -> tuple[Alert, ...]:
    """All alerts that are not at rest, most urgent first; those folded under another one say so."""
    alerts, under = [], leaders_of(model, state, state.alerts)
    for point, leader in under.items():
        alert = _alert(model, state, values, point, state.alerts.records[point], known)
        also = _also(model, point, [other for other, its in under.items() if its == point != other])
        folded_under = "" if leader == point else alert_id(model, state, leader)
        text = f"{alert.text}; also {', '.join(also)}" if also else alert.text
        alerts.append(replace(alert, text=text, also=also, folded_under=folded_under))
    alerts.sort(key=lambda alert: (-alert.priority, alert.state is not AlertState.UNACKNOWLEDGED, -alert.since_s))
    return tuple(alerts)


def _also(model: Model, leader: int, others: Sequence[int]) -> tuple[str, ...]:
    """Subjects of the alerts folded under one; of its own subject, what else is wrong with it."""
    points = model.law.points
    own = points[leader].subject
    return tuple(
        dict.fromkeys(points[it].rule.title if points[it].subject == own else points[it].subject for it in others)
    )


def _alert(model: Model, state: EngineState, values: Array, index: int, record: Record, known: Known) -> Alert:
    point = model.law.points[index]
    strand = None if point.strand is None else known.strands[point.strand]
    liners = known.liners if point.zone is not None else ()
    liner = next((reading for reading in liners if reading.zone == point.subject), None)
    advice = tuple(piece for piece in known.advice if piece.input in {None, point.input})
    value = float(values[index])
    need, trace_of = neediest(model, state, known.strands), state.traces.__getitem__
    channel_mm = 0.0 if model.shared is None else model.shared.length_mm
    worst = max(shared_readings(model, state), key=lambda held: held.dose_min / held.dose_warn_min, default=None)
    facts = Facts(
        point,
        record.level,
        value,
        strand,
        liner,
        worst,
        channel_mm,
        advice,
        sensor=None if point.sensor is None else _sensor_facts(model, state, point.sensor),
        softest=min(model.parameters.strands, key=lambda it: it.material.glass_c).material.name,
        margin_k=model.parameters.limits.cold_end_margin_k,
        merge_set_c=_merge_set_c(model, state),
        is_on_its_way=any(is_under_way(trace_of(sensor), state.time_s) for sensor in model.merge_sensors),
        neediest=known.strands[need],
        enough_c=enough_c(model.min_feed_c[need]),
        is_building=may_build(state),
    )
    return Alert(
        id=alert_id(model, state, index),
        condition=point.rule.condition,
        subject=point.subject,
        input=point.input,
        priority=priority_of(point.rule, record),
        state=record.state,
        since_s=0.0 if record.raised_s is None else record.raised_s,
        text=alert_text(facts),
        action=f"{_first(point.rule.condition, known.liners)}{alert_action(facts)}",
        value=value if np.isfinite(value) else None,
        limit=alert_limit(facts),
        unit=point.rule.unit,
        why_held_back=record.why_held_back,
        held_back_until_s=record.shelved_until_s,
        story=record.story,
        respond_within_s=point.rule.within_s(record.level or record.highest),
    )


def _merge_set_c(model: Model, state: EngineState) -> float | None:
    set_c = [state.sensors[index].set_c for index in model.merge_sensors]
    return min((value for value in set_c if value is not None), default=None)


def _sensor_facts(model: Model, state: EngineState, index: int) -> SensorFacts:
    walls = wall_readings(state.sensors, model.sensors, state.time_s, model.longest_silence_s)
    trace, now_s = state.traces[index], state.time_s
    return SensorFacts(walls[index], still_s(trace, now_s), trace.longest_s, jumps_lately(trace, now_s))


def transitions(
    model: Model, state: EngineState, values: Array, changes: list[Change], actor: str
) -> tuple[AlertTransition, ...]:
    """The alert changes of one event, in words."""
    if not changes:
        return ()
    known = _known(model, state)
    told, under = [], leaders_of(model, state, state.alerts)
    quality = data_quality(model, state)
    for change in changes:
        alert = _alert(model, state, values, change.point, change.record, known)
        leader = under.get(change.point, change.point)
        if leader != change.point:
            alert = replace(alert, folded_under=alert_id(model, state, leader))
        told.append(AlertTransition(state.time_s, change.event, alert, change.previous, actor, quality))
    return tuple(told)


def _known(model: Model, state: EngineState) -> Known:
    quality = data_quality(model, state)
    strands = tuple(assess_strand(model, state, index, quality) for index in range(len(model.feeds)))
    return Known(strands, liner_readings(model, state), advise(model, state, strands, plans=False))


def alert_id(model: Model, state: EngineState, index: int) -> str:
    """Name of one activation of a point: condition, subject, and how often it was raised."""
    point = model.law.points[index]
    return f"{point.rule.condition}/{point.subject}/{state.alerts.counts.get(index, 1)}"


def _first(condition: str, liners: tuple[LinerReading, ...]) -> str:
    """What comes before anything else while a liner is past its stop limit; its own alert says so itself."""
    is_past = any(liner.hottest_c > liner.stop_c for liner in liners)
    if condition == "liner" or not is_past:
        return ""
    return "First stop heating: a liner is past its stop limit. Do not go close before the room is aired. Then: "
