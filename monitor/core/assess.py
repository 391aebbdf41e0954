"""From the engine's state to an assessment: what a screen, a recording or a notifier may know.

Computed only when somebody looks. Reads the state, changes nothing.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np

from monitor.core.alert_texts import Facts, alert_action, alert_limit, alert_text
from monitor.core.alerts import Change, Record
from monitor.core.assessment import (
    Activity,
    Alert,
    AlertState,
    AlertTransition,
    Array,
    Assessment,
    Condition,
    LinerReading,
    Priority,
    Quality,
    Span,
    StrandAssessment,
)
from monitor.core.engine_state import EngineState, Model
from monitor.core.feed import is_feeding
from monitor.core.forecast import feeding_left_s, standing_left_s
from monitor.core.readings import wall_readings

_NEVER: Final = Span(float("inf"), float("inf"))
_CONDITION_OF: Final[Mapping[Priority, Condition]] = {
    Priority.CAUTION: Condition.NORMAL,
    Priority.WARNING: Condition.WARNING,
    Priority.ALARM: Condition.FAULT,
}


def assess(model: Model, state: EngineState, values: Array) -> Assessment:
    """Everything known at this moment; `values` are those of the alert points."""
    quality = data_quality(model, state)
    bare = tuple(_strand(model, state, index, quality) for index in range(len(model.feeds)))
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
        strand = None if point.strand is None else _strand(model, state, point.strand, quality)
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


def standing_since_s(state: EngineState, strand: int) -> float | None:
    """Since when the strand stands hot without new material; None while it is cold."""
    hot_s = state.hot_since_s[strand]
    return None if hot_s is None else max(hot_s, state.feeds.strands[strand].moved_s)


def activity(state: EngineState, strand: int) -> Activity:
    """What the strand is doing."""
    if is_feeding(state.feeds.strands[strand], state.time_s):
        return Activity.FEEDING
    return Activity.COLD if state.hot_since_s[strand] is None else Activity.IDLE


def soft_front_mm(x_mm: Array, temp_c: Array, glass_c: float) -> float:
    """How far upstream of the merge point the strand is above `glass_c`, linear between parcels [mm].

    >>> soft_front_mm(np.array([1.0, 2.0, 3.0]), np.array([200.0, 100.0, 40.0]), 70.0)
    2.5
    """
    soft = np.flatnonzero(temp_c > glass_c)
    if len(soft) == 0:
        return 0.0
    last = int(soft[-1])
    if last + 1 == len(temp_c):
        return float(x_mm[last])
    share = (temp_c[last] - glass_c) / (temp_c[last] - temp_c[last + 1])
    return float(x_mm[last] + share * (x_mm[last + 1] - x_mm[last]))


def _strand(model: Model, state: EngineState, index: int, quality: Quality) -> StrandAssessment:
    strand, feed = model.parameters.strands[index], state.feeds.strands[index]
    material, doing = strand.material, activity(state, index)
    x_mm, temp_c, dose_min = _rows(model, state, index)
    hope = material.limit_high_min / material.limit_min
    since_s = standing_since_s(state, index)
    merge_c = float("nan") if state.field is None else state.field.walls.merge_c
    return StrandAssessment(
        input=strand.input,
        material=material.name,
        label=strand.label,
        activity=doing,
        condition=Condition.UNAVAILABLE if quality is Quality.BAD else Condition.NORMAL,
        quality=quality,
        idle_s=state.time_s - (feed.moved_s if since_s is None else since_s),
        feed_mm_s=feed.speed_mm_s,
        fed_mm=None if feed.fed_mm is None else feed.fed_mm - feed.first_mm,
        dose_now_min=float(dose_min.max()),
        dose_warn_min=material.warn_min,
        dose_limit_min=material.limit_min,
        reference_c=material.reference_c,
        warn_left_s=_left(model, state, index, (material.warn_min, material.warn_min * hope)),
        limit_left_s=_left(model, state, index, (material.limit_min, material.limit_high_min)),
        hottest_c=float(temp_c.max()),
        glass_c=material.glass_c,
        softening_min=0.0 if state.field is None else model.field.softest_min(state.field)[index],
        softening_warn_min=model.parameters.limits.softening_warn_min,
        softening_limit_min=model.parameters.limits.softening_limit_min,
        soft_front_mm=soft_front_mm(x_mm, temp_c, material.glass_c),
        stiff_from_mm=model.stiff_from_mm,
        merge_wall_c=merge_c,
        min_feed_c=material.min_feed_c,
        min_feed_is_rule=material.min_feed_is_rule,
        x_mm=x_mm,
        temp_c=temp_c,
        dose_min=dose_min,
        stand_in=strand.stand_in,
        stand_in_for=strand.stand_in_for,
    )


def _rows(model: Model, state: EngineState, index: int) -> tuple[Array, Array, Array]:
    """Places, temperatures and doses of one strand's parcels; ambient and fresh while nothing is known."""
    if state.field is None:
        x_mm = model.field.grid.centres_mm(0.0)
        return x_mm, np.full_like(x_mm, model.parameters.ambient_c), np.zeros_like(x_mm)
    temp_c, dose_min = model.field.path_rows(state.field)
    return model.field.centres_mm(state.field, index), temp_c[index], dose_min[index]


def _left(model: Model, state: EngineState, index: int, limits_min: tuple[float, float]) -> Span:
    """Range of the time left: cautious law and limit, and best law with the hopeful limit."""
    if state.field is None:
        return _NEVER
    x_mm, temp_c, dose_min = _rows(model, state, index)
    speed_mm_s = state.feeds.strands[index].speed_mm_s
    is_feeding = activity(state, index) is Activity.FEEDING and speed_mm_s > 0.0
    ends = []
    for law, limit_min in zip((model.field.law, model.hopeful), limits_min, strict=True):
        rate = np.exp(law.of(index).log_rate(temp_c[None, :])[0])
        if is_feeding:
            ends.append(feeding_left_s(dose_min, rate, limit_min, x_mm, speed_mm_s))
        else:
            ends.append(standing_left_s(dose_min, rate, limit_min))
    return Span(ends[0], max(ends))


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
    facts = Facts(point, record.level, value, strand, liner)
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
