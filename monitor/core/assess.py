"""From the engine's state to an assessment: what a screen, a recording or a notifier may know.

Computed only when somebody looks. Reads the state, changes nothing.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np

from monitor.core.alert_texts import Facts, alert_action, alert_limit, alert_text
from monitor.core.alerts import Change, Record
from monitor.core.assess_strand import assess_strand
from monitor.core.assessment import (
    Alert,
    AlertState,
    AlertTransition,
    Array,
    Assessment,
    Condition,
    LinerReading,
    Priority,
    Quality,
    SharedReading,
    StrandAssessment,
)
from monitor.core.engine_state import EngineState, Model
from monitor.core.parameters import Strand
from monitor.core.readings import wall_readings
from monitor.core.shared_channel import Content

_CONDITION_OF: Final[Mapping[Priority, Condition]] = {
    Priority.CAUTION: Condition.NORMAL,
    Priority.WARNING: Condition.WARNING,
    Priority.ALARM: Condition.FAULT,
}


def assess(model: Model, state: EngineState, values: Array) -> Assessment:
    """Everything known at this moment; `values` are those of the alert points."""
    quality = data_quality(model, state)
    bare = tuple(assess_strand(model, state, index, quality) for index in range(len(model.feeds)))
    liners = _liners(model, state)
    alerts = _alerts(model, state, values, bare, liners)
    strands = tuple(_with_condition(strand, alerts) for strand in bare)
    return Assessment(
        time_s=state.time_s,
        machine=model.parameters.machine,
        execution=state.execution,
        progress=state.progress,
        link_available=state.link_available,
        link_reason=state.link_reason,
        sample_age_s=silence_s(state),
        quality=quality,
        condition=_worst(alerts, is_known=quality is not Quality.BAD),
        zones=model.places,
        walls=wall_readings(state.sensors, model.sensors, state.time_s, model.longest_silence_s),
        strands=strands,
        liners=liners,
        alerts=alerts,
        counts=state.counts,
        shared=_shared(model, state),
    )


def transitions(
    model: Model, state: EngineState, values: Array, changes: list[Change], actor: str
) -> tuple[AlertTransition, ...]:
    """The alert changes of one event, in words."""
    if not changes:
        return ()
    quality = data_quality(model, state)
    liners = _liners(model, state)
    told = []
    for change in changes:
        point = model.law.points[change.point]
        strand = None if point.strand is None else assess_strand(model, state, point.strand, quality)
        alert = _alert(model, state, values, change.point, change.record, strand, liners)
        told.append(AlertTransition(state.time_s, change.event, alert, change.previous, actor))
    return tuple(told)


def alert_id(model: Model, state: EngineState, index: int) -> str:
    """Name of one activation of a point: condition, subject, and how often it was raised."""
    point = model.law.points[index]
    return f"{point.rule.condition}/{point.subject}/{state.alerts.counts.get(index, 1)}"


def silence_s(state: EngineState) -> float:
    """Age of the newest sample; since the session's start before the first [s]."""
    return state.time_s - (state.sample_s or 0.0)


def untold_s(state: EngineState) -> float:
    """Age of the newest wall temperature: a sample that holds none tells nothing of the strands [s]."""
    return max(silence_s(state), min((state.time_s - sensor.seen_s for sensor in state.sensors), default=0.0))


def data_quality(model: Model, state: EngineState) -> Quality:
    """Trust in what is said of the strands, by their walls: no better than the worst sensor they depend on.

    STALE once it, or any sample, is too old; BAD while it never reported, or when the machine counts as lost.
    """
    walls = [state.sensors[index] for index in model.wall_sensors]
    if state.field is None or any(sensor.temp_c is None for sensor in walls):
        return Quality.BAD
    oldest_s = max([silence_s(state), *(state.time_s - sensor.seen_s for sensor in walls)])
    if oldest_s > model.parameters.limits.unavailable_after_s:
        return Quality.BAD
    return Quality.STALE if oldest_s > model.longest_silence_s else Quality.GOOD


def _shared(model: Model, state: EngineState) -> tuple[SharedReading, ...]:
    if model.shared is None or state.shared is None:
        return ()
    return tuple(
        _shared_reading(model.parameters.strands[content.strand], content, state.time_s)
        for content in model.shared.contents(state.shared)
    )


def _shared_reading(strand: Strand, content: Content, time_s: float) -> SharedReading:
    material = strand.material
    age_s = time_s - content.oldest_s
    return SharedReading(strand.input, content.share, age_s, content.dose_min, material.warn_min, material.limit_min)


def _liners(model: Model, state: EngineState) -> tuple[LinerReading, ...]:
    if state.field is None:
        return ()
    rows = zip(model.liner_zones, state.field.walls.liners_c, state.liner_above_s, strict=True)
    return tuple(_liner(model, index, liner_c, above_s) for index, liner_c, above_s in rows)


def _liner(model: Model, index: int, hottest_c: float, above_s: tuple[float, ...]) -> LinerReading:
    zone = model.parameters.zones[index]
    name = zone.liner or ""
    limits = model.parameters.liners[name]
    return LinerReading(zone.name, name, hottest_c, limits.warn_c, limits.alarm_c, limits.stop_c, *above_s)


def _alerts(
    model: Model,
    state: EngineState,
    values: Array,
    strands: tuple[StrandAssessment, ...],
    liners: tuple[LinerReading, ...],
) -> tuple[Alert, ...]:
    alerts = []
    for point, record in state.alerts.records.items():
        if record.state is not AlertState.NORMAL:
            strand_index = model.law.points[point].strand
            strand = None if strand_index is None else strands[strand_index]
            alerts.append(_alert(model, state, values, point, record, strand, liners))
    alerts.sort(key=lambda alert: (-alert.priority, alert.state is not AlertState.UNACKNOWLEDGED, -alert.since_s))
    return tuple(alerts)


def _alert(
    model: Model,
    state: EngineState,
    values: Array,
    index: int,
    record: Record,
    strand: StrandAssessment | None,
    liners: tuple[LinerReading, ...],
) -> Alert:
    point = model.law.points[index]
    liner = next((reading for reading in liners if point.zone is not None and reading.zone == point.subject), None)
    value = float(values[index])
    channel_mm = 0.0 if model.shared is None else model.shared.length_mm
    worst = max(_shared(model, state), key=lambda held: held.dose_min / held.dose_warn_min, default=None)
    facts = Facts(point, record.level, value, strand, liner, worst, channel_mm)
    return Alert(
        id=alert_id(model, state, index),
        condition=point.rule.condition,
        subject=point.subject,
        input=point.input,
        priority=point.rule.priorities[max(1, record.level or record.highest) - 1],
        state=record.state,
        since_s=0.0 if record.raised_s is None else record.raised_s,
        text=alert_text(facts),
        action=alert_action(facts),
        value=value if np.isfinite(value) else None,
        limit=alert_limit(facts),
        unit=point.rule.unit,
    )


def _with_condition(strand: StrandAssessment, alerts: tuple[Alert, ...]) -> StrandAssessment:
    if strand.condition is Condition.UNAVAILABLE:
        return strand
    worst = _worst(tuple(alert for alert in alerts if alert.input == strand.input), is_known=True)
    return replace(strand, condition=worst)


def _worst(alerts: tuple[Alert, ...], *, is_known: bool) -> Condition:
    if not is_known:
        return Condition.UNAVAILABLE
    active = [alert.priority for alert in alerts if alert.state is not AlertState.RETURNED]
    return _CONDITION_OF[max(active)] if active else Condition.NORMAL
