"""The engine: events in, steps out. One engine serves live, replay and batch.

`advance` is pure: a new state from an old one and an event. Time comes with the events; a machine that falls silent is
noticed by ticks. Between samples walls run linearly; in a silence they are held at the hotter of last value and set
point, and strands are taken as standing.
"""

import math
from collections.abc import Iterable, Iterator
from functools import cached_property
from typing import Final

import numpy as np

from connectors.telemetry import Event, LinkChange, Malformed, Sample, Tick
from monitor.core.alert_table import ALERT_TABLE
from monitor.core.alerts import acknowledge, update
from monitor.core.assess import alert_id, assess, data_quality, silence_s, transitions, untold_s
from monitor.core.assessment import Acknowledge, AlertTransition, Array, Assessment, Quality
from monitor.core.engine_state import EngineState, Model, build_model, initial_state
from monitor.core.estimates import estimated_sensors
from monitor.core.feed import carried, is_feeding, read_feeds
from monitor.core.field_state import FieldState
from monitor.core.parameters import Parameters
from monitor.core.readings import read_sensors, wall_vector
from monitor.core.shared_channel import SharedState

STEP_S: Final = 4.0
"""The field moves in whole multiples: few propagators serve a jittery clock, and samples are gathered. Walls and feed
run evenly within a step."""
_HOUR_S: Final = 3600.0
_NOTHING: Final = -math.inf
_HELD_K: Final = -ALERT_TABLE["cold_feed"].deadband / 2


class Step:
    """What came of one event: the alerts that changed, and the assessment for whoever looks."""

    def __init__(
        self, event: Event | Acknowledge, model: Model, state: EngineState, alerts: tuple[AlertTransition, ...]
    ) -> None:
        self.event = event
        self.transitions = alerts
        self._model, self._state = model, state

    @cached_property
    def assessment(self) -> Assessment:
        """Everything known after the event; computed when first read, from a state that never changes."""
        return assess(self._model, self._state, point_values(self._model, self._state))


class Engine:
    """Holds the state between events, for shells that get them one by one."""

    def __init__(self, parameters: Parameters) -> None:
        self._model = build_model(parameters)
        self._state = initial_state(self._model)

    def advance(self, event: Event | Acknowledge) -> Step:
        """Take in one event."""
        before = self._state
        self._state, told = advance(self._model, before, event)
        return Step(event, self._model, self._state, told)


def run(events: Iterable[Event | Acknowledge], parameters: Parameters) -> Iterator[Step]:
    """Judge a stream of events, in order: the whole watch as a plain generator."""
    engine = Engine(parameters)
    for event in events:
        yield engine.advance(event)


def advance(
    model: Model, state: EngineState, event: Event | Acknowledge
) -> tuple[EngineState, tuple[AlertTransition, ...]]:
    """State after one event, and the alerts that changed with it.

    Time never runs backwards: an older stamp counts as now.
    """
    time_s = max(state.time_s, event.time_s)
    match event:
        case Sample():
            after = _sampled(model, state, event, time_s)
            # between the field's steps nothing changes that cannot wait for the next
            return _judge(model, after) if after.field is not state.field or after.field is None else (after, ())
        case Tick():
            state = state._replace(time_s=time_s)
            return _judge(model, _held(model, state)) if silence_s(state) > model.longest_silence_s else (state, ())
        case LinkChange():
            counts = _counted(state, "link_changes")
            state = state._replace(
                time_s=time_s, link_available=event.available, link_reason=event.reason, counts=counts
            )
            return state, ()
        case Malformed():
            return state._replace(time_s=time_s, counts=_counted(state, "malformed")), ()
        case Acknowledge():
            return _acknowledged(model, state._replace(time_s=time_s), event)


def point_values(model: Model, state: EngineState) -> Array:
    """Value of every alert point, in the order of the points; minus infinity where there is nothing to judge."""
    now_s, feeds = state.time_s, state.feeds.strands
    standing_h = [
        _NOTHING if hot_s is None else (now_s - max(hot_s, feed.moved_s)) / _HOUR_S
        for hot_s, feed in zip(state.hot_since_s, feeds, strict=True)
    ]
    silent_s = [now_s - sensor.seen_s for sensor in state.sensors]
    if state.field is None:
        unknown = [_NOTHING] * (4 * len(feeds))
        liners, shared = [_NOTHING] * len(model.liner_zones), [_NOTHING] * (model.shared is not None)
        return np.array([*unknown, *standing_h, *liners, *shared, *silent_s, untold_s(state)])
    walls, dose_min = state.field.walls, model.field.oldest_min(state.field)
    is_known = all(state.sensors[index].temp_c is not None for index in model.wall_sensors)
    lacking_k = [
        _lacking_k(
            least_c - walls.merge_c,
            is_hot=hot_s is not None and is_known,
            is_feeding=is_known and is_feeding(feed, now_s),
        )
        for least_c, hot_s, feed in zip(model.min_feed_c, state.hot_since_s, feeds, strict=True)
    ]
    ceiling_c = [walls.strand_c] * len(feeds)
    soft_min = _softening_min(model, state.field)
    others = [*standing_h, *walls.liners_c, *_shared_percent(model, state), *silent_s, untold_s(state)]
    return np.array([*dose_min, *soft_min, *ceiling_c, *lacking_k, *others])


def _shared_percent(model: Model, state: EngineState) -> list[float]:
    """Highest dose in the shared channel, in percent of its strand's own warn dose; nothing without such a channel."""
    if model.shared is None or state.shared is None:
        return []
    return [100.0 * model.shared.worst_share(state.shared, model.warn_min)]


def _softening_min(model: Model, field: FieldState) -> list[float]:
    """Softening dose of each strand as the alert sees it [min].

    With the cold side itself above its glass transition a strand is no stiff piston, however little dose it has: it is
    at least at the warn level then.
    """
    cold_side_c, warn_min = field.walls.cold_side_c, model.parameters.limits.softening_warn_min
    at_least = math.nextafter(warn_min, math.inf)
    return [
        max(dose_min, at_least) if cold_side_c > glass_c else dose_min
        for dose_min, glass_c in zip(model.field.softest_min(field), model.glass_c, strict=True)
    ]


def _lacking_k(lacking_k: float, *, is_hot: bool, is_feeding: bool) -> float:
    """How far the wall is below what a strand needs to feed [K], as the alert sees it.

    Only feeding raises the alert. While a strand pauses, a wall that is still too cold holds it, by a value inside the
    deadband: strands take turns by the minute, and each turn would otherwise call again for the same cold manifold.
    """
    if is_feeding:
        return lacking_k
    return min(lacking_k, _HELD_K) if is_hot else _NOTHING


def _sampled(model: Model, state: EngineState, sample: Sample, time_s: float) -> EngineState:
    if silence_s(state._replace(time_s=time_s)) > model.longest_silence_s:
        # the last moment is left to the sample's own step, which carries the feed that came with it
        state = _held(model, state._replace(time_s=time_s - STEP_S))
    sensors = read_sensors(state.sensors, model.sensors, sample.values, time_s)
    feeds = read_feeds(state.feeds, model.feeds, sample.values, time_s, model.longest_silence_s)
    state = state._replace(
        time_s=time_s,
        sample_s=time_s,
        sensors=sensors,
        feeds=feeds,
        execution=state.execution if sample.execution is None else sample.execution,
        progress=sample.values.get("progress", state.progress),
        counts=_counted(state, "samples"),
    )
    if state.field is None:
        return _begun(model, state)
    due_s = _due_s(state)
    return _carried(model, state, due_s) if due_s > 0.0 else state


def _begun(model: Model, state: EngineState) -> EngineState:
    """State once the field begins, with the first wall temperature: before, there is nothing to reckon with."""
    if all(sensor.temp_c is None for sensor in state.sensors):
        return state._replace(field_s=state.time_s, hot_since_s=_hot_since_s(model, state))
    sensors = estimated_sensors(model, state, 0.0)
    field = model.field.initial(wall_vector(sensors, model.parameters, state.time_s))
    state = state._replace(field=field, field_s=state.time_s, sensors=sensors, feeds=carried(state.feeds))
    return state._replace(hot_since_s=_hot_since_s(model, state))


def _due_s(state: EngineState) -> float:
    """How far the field can be carried by now, in whole steps [s]."""
    return math.floor((state.time_s - state.field_s) / STEP_S) * STEP_S


def _carried(model: Model, state: EngineState, step_s: float, *, is_known: bool = True) -> EngineState:
    """State with the field carried one step on: walls running linearly to their newest values, pending feed fed."""
    if state.field is None:
        return state
    sensors = estimated_sensors(model, state, step_s)
    walls_c = wall_vector(sensors, model.parameters, state.time_s)
    fed_mm = [feed.pending_mm for feed in state.feeds.strands]
    field = model.field.advance(state.field, step_s, walls_c, fed_mm, is_known=is_known)
    state = state._replace(
        field=field,
        field_s=state.field_s + step_s,
        sensors=sensors,
        feeds=carried(state.feeds),
        liner_above_s=_liner_above_s(model, state, field, step_s),
        shared=_shared(model, state, field, step_s),
    )
    return state._replace(hot_since_s=_hot_since_s(model, state))


def _held(model: Model, state: EngineState) -> EngineState:
    """Field carried through a silence: strands standing, walls at the hotter of last value and set point."""
    left_s = _due_s(state)
    for step_s in _growing_steps(left_s) if left_s > 0.0 else ():
        state = _carried(model, state, step_s, is_known=False)
    return state


def _growing_steps(total_s: float) -> Iterator[float]:
    """Steps that double: walls may jump at the start of a silence, and the dose must follow the strand's warming."""
    step_s = STEP_S
    while total_s > step_s:
        yield step_s
        total_s -= step_s
        step_s *= 2
    yield total_s


def _hot_since_s(model: Model, state: EngineState) -> tuple[float | None, ...]:
    """Since when the merge point's wall has been above each strand's glass transition; unknown counts as hot."""
    merge_c = math.inf if state.field is None or not _is_merge_known(model, state) else state.field.walls.merge_c
    return tuple(
        (state.time_s if since_s is None else since_s) if merge_c > glass_c else None
        for since_s, glass_c in zip(state.hot_since_s, model.glass_c, strict=True)
    )


def _is_merge_known(model: Model, state: EngineState) -> bool:
    walls = [state.sensors[index] for index in model.merge_sensors]
    return all(sensor.temp_c is not None or sensor.set_c is not None for sensor in walls)


def _shared(model: Model, state: EngineState, field: FieldState, step_s: float) -> SharedState | None:
    """Shared channel after a step: what lay in it aged, and new material came in."""
    if model.shared is None or state.shared is None or state.field is None:
        return None
    shared = model.shared.aged(state.shared, step_s, field.rate[:, 0])
    new_mm = [max(0.0, after - before) for before, after in zip(state.field.high_mm, field.high_mm, strict=True)]
    if not any(new_mm):
        return shared
    return model.shared.fed(shared, state.time_s, new_mm, model.field.passing_min(field))


def _liner_above_s(model: Model, state: EngineState, field: FieldState, step_s: float) -> tuple[tuple[float, ...], ...]:
    """How long each liner has been above each of its limits, the step just made included [s]."""
    hottest_c = field.walls.liners_c
    if all(liner_c <= limits[0] for liner_c, limits in zip(hottest_c, model.liner_limits_c, strict=True)):
        return state.liner_above_s
    return tuple(
        tuple(above_s + step_s * (liner_c > limit_c) for above_s, limit_c in zip(spent, limits, strict=True))
        for spent, liner_c, limits in zip(state.liner_above_s, hottest_c, model.liner_limits_c, strict=True)
    )


def _judge(model: Model, state: EngineState) -> tuple[EngineState, tuple[AlertTransition, ...]]:
    values = point_values(model, state)
    if not state.alerts.records and not model.law.raised(values):
        return state, ()  # a healthy machine: nothing is above its limit, nothing was
    fresh = untold_s(state) <= model.longest_silence_s
    walls_fresh = data_quality(model, state) is Quality.GOOD
    book, changes = update(state.alerts, model.law, values, state.time_s, fresh=fresh, walls_fresh=walls_fresh)
    if book is not state.alerts:
        state = state._replace(alerts=book)
    return state, transitions(model, state, values, changes, "engine")


def _acknowledged(
    model: Model, state: EngineState, seen: Acknowledge
) -> tuple[EngineState, tuple[AlertTransition, ...]]:
    values = point_values(model, state)
    points = [index for index in state.alerts.records if alert_id(model, state, index) == seen.alert_id]
    book, changes = acknowledge(state.alerts, points)
    state = state._replace(alerts=book)
    return state, transitions(model, state, values, changes, seen.actor)


def _counted(state: EngineState, kind: str) -> dict[str, int]:
    return {**state.counts, kind: state.counts.get(kind, 0) + 1}
