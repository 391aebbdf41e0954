"""The engine: events in, steps out. One engine serves live, replay and batch.

`advance` is pure: a new state from an old one and an event. Time comes with the events; a machine that falls silent is
noticed by ticks. Between samples walls run linearly; in a silence they are held at the hotter of last value and set
point, and strands are taken as standing.
"""

import math
from collections.abc import Iterable, Iterator
from functools import cached_property
from itertools import repeat
from typing import Final

from connectors.telemetry import Execution, LinkChange, Malformed, Sample, Tick
from monitor.core.alert_types import AlertTransition, Request
from monitor.core.alert_values import point_values
from monitor.core.assess import assess
from monitor.core.assess_strand import limit_left_s
from monitor.core.assessment import Assessment
from monitor.core.data_age import are_walls_fresh, silence_s
from monitor.core.engine_input import EngineInput
from monitor.core.engine_state import EngineState, Model, build_model, initial_state
from monitor.core.estimates import estimated_sensors
from monitor.core.feed import Feeds, carried, moved_untold, read_feeds
from monitor.core.field_state import FieldState
from monitor.core.gap_dose import stood_meanwhile
from monitor.core.hot_clock import cool_so_far, is_merge_known, with_hot_clock
from monitor.core.judging import is_news, judge, requested
from monitor.core.next_use import NextUses
from monitor.core.parameters import Parameters
from monitor.core.readings import read_sensors, wall_vector
from monitor.core.sensor_trace import traced
from monitor.core.shared_channel import SharedState
from monitor.core.stall_watch import Manifold, Stalls

STEP_S: Final = 4.0
"""The field moves in whole multiples: few propagators serve a jittery clock, and samples are gathered. Walls and feed
run evenly within a step."""


class Step:
    """What came of one event: the alerts that changed, and the assessment for whoever looks."""

    def __init__(
        self, event: EngineInput, model: Model, state: EngineState, alerts: tuple[AlertTransition, ...]
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

    def advance(self, event: EngineInput) -> Step:
        """Take in one event."""
        before = self._state
        self._state, told = advance(self._model, before, event)
        return Step(event, self._model, self._state, told)


def run(events: Iterable[EngineInput], parameters: Parameters) -> Iterator[Step]:
    """Judge a stream of events, in order: the whole watch as a plain generator."""
    engine = Engine(parameters)
    for event in events:
        yield engine.advance(event)


def advance(model: Model, state: EngineState, event: EngineInput) -> tuple[EngineState, tuple[AlertTransition, ...]]:
    """State after one event, and the alerts that changed with it.

    Time never runs backwards: an older stamp counts as now.
    """
    time_s = max(state.time_s, event.time_s)
    match event:
        case Sample():
            after = _sampled(model, state, event, time_s)
            return judge(model, state, after) if is_news(state, after) else (after, ())
        case Tick():
            after = state._replace(time_s=time_s)
            if silence_s(after) <= model.longest_silence_s:
                return after, ()
            return judge(model, state, _held(model, after))
        case LinkChange():
            counts = _counted(state, "link_changes")
            state = state._replace(
                time_s=time_s, link_available=event.available, link_reason=event.reason, counts=counts
            )
            return (_moved_untold(model, state) if event.feed_unknown else state), ()
        case Malformed():
            return state._replace(time_s=time_s, counts=_counted(state, "malformed")), ()
        case _:
            return _told(model, state, state._replace(time_s=time_s), event)


def _told(
    model: Model, before: EngineState, state: EngineState, told: Request | NextUses
) -> tuple[EngineState, tuple[AlertTransition, ...]]:
    """What comes of a word of the owner or of the plan."""
    if isinstance(told, Request):
        return requested(model, state, told)
    return judge(model, before, _planned(model, state, told))


def _planned(model: Model, state: EngineState, note: NextUses) -> EngineState:
    """State that knows when each strand is needed next, and how much too early it may pass its limit."""
    start_s = dict(note.uses)
    next_s = tuple(start_s.get(strand.input) for strand in model.parameters.strands)
    short_s = tuple(_short_s(model, state, at, needed_s) for at, needed_s in enumerate(next_s))
    return state._replace(next_use_s=next_s, short_s=short_s)


def _short_s(model: Model, state: EngineState, index: int, needed_s: float | None) -> float:
    if needed_s is None or math.isinf(needed_s):
        return -math.inf
    return needed_s - state.time_s - limit_left_s(model, state, index)


def _sampled(model: Model, state: EngineState, sample: Sample, time_s: float) -> EngineState:
    if time_s - (state.sample_s or 0.0) > model.longest_silence_s:
        # the last moment is left to the sample's own step, which carries the feed that came with it
        state = _held(model, state._replace(time_s=time_s - STEP_S))
    sensors = read_sensors(state.sensors, model.sensors, sample.values, time_s)
    traces = tuple(map(traced, state.traces, state.sensors, sensors, repeat(time_s)))
    feeds = read_feeds(state.feeds, model.feeds, sample.values, time_s, model.longest_silence_s)
    state = state._replace(
        time_s=time_s,
        sample_s=time_s,
        sensors=sensors,
        traces=traces,
        feeds=feeds,
        stalls=_stalls(model, state, sample, feeds, time_s),
        melt=model.melt.after(state.melt, sample.values, time_s, feeds),
        execution=state.execution if sample.execution is None else sample.execution,
        has_built=state.has_built or sample.execution is Execution.ACTIVE,
        progress=sample.values.get("progress", state.progress),
        counts=_counted(state, "samples"),
    )
    if state.field is None:
        return _begun(model, state)
    due_s = _due_s(state)
    return _carried(model, state, due_s, is_known=are_walls_fresh(model, state)) if due_s > 0.0 else state


def _stalls(model: Model, state: EngineState, sample: Sample, feeds: Feeds, time_s: float) -> Stalls:
    if model.stalls.is_untold(state.stalls, sample.values):
        return state.stalls
    is_known = state.field is not None and is_merge_known(model, state)
    set_c = state.sensors[model.merge_sensors[0]].set_c if len(model.merge_sensors) == 1 else None
    manifold = Manifold(state.field.walls.merge_c if is_known and state.field is not None else None, set_c)
    both = state.feeds, feeds
    return model.stalls.after(state.stalls, sample.values, time_s, both, state.hot_since_s, manifold)


def _begun(model: Model, state: EngineState) -> EngineState:
    """State once the field begins, with the first wall temperature: before, there is nothing to reckon with."""
    if all(sensor.temp_c is None for sensor in state.sensors):
        return with_hot_clock(model, state._replace(field_s=state.time_s))
    sensors = estimated_sensors(model, state, 0.0)
    field = model.field.initial(wall_vector(sensors, model.parameters, state.time_s))
    state = state._replace(field=field, field_s=state.time_s, sensors=sensors, feeds=carried(state.feeds))
    return with_hot_clock(model, cool_so_far(state))


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
    gaps_s = [feed.gap_s for feed in state.feeds.strands]
    if any(gaps_s):
        field = stood_meanwhile(model.field, field, state.field.rate, gaps_s)
    state = state._replace(
        field=field,
        field_s=state.field_s + step_s,
        sensors=sensors,
        feeds=carried(state.feeds),
        liner_above_s=_liner_above_s(model, state, field, step_s),
        shared=_shared(model, state, field, step_s),
    )
    return with_hot_clock(model, state)


def _held(model: Model, state: EngineState) -> EngineState:
    """Field carried through a silence: strands standing, walls at the hotter of last value and set point."""
    left_s = _due_s(state)
    for step_s in _growing_steps(left_s) if left_s > 0.0 else ():
        state = _carried(model, state, step_s, is_known=False)
    return state


def _moved_untold(model: Model, state: EngineState) -> EngineState:
    """State after a silence in which strands may have moved uncounted: what is there may be fresh, or have stood."""
    if silence_s(state) <= model.longest_silence_s:
        return state
    field = None if state.field is None else state.field._replace(unsure_min=state.field.dose_min)
    return state._replace(field=field, feeds=moved_untold(state.feeds, state.time_s), resumed_s=state.time_s)


def _growing_steps(total_s: float) -> Iterator[float]:
    """Steps that double: walls may jump at the start of a silence, and the dose must follow the strand's warming."""
    step_s = STEP_S
    while total_s > step_s:
        yield step_s
        total_s -= step_s
        step_s *= 2
    yield total_s


def _shared(model: Model, state: EngineState, field: FieldState, step_s: float) -> SharedState | None:
    """Shared channel after a step: what lay in it aged, and new material came in."""
    if model.shared is None or state.shared is None or state.field is None:
        return None
    shared = model.shared.aged(state.shared, step_s, field.rate[:, 0])
    new_mm = [max(0.0, after - before) for before, after in zip(state.field.high_mm, field.high_mm, strict=True)]
    if not any(new_mm):
        return shared
    handed_min, gaps_s = model.field.passing_min(field, new_mm), [feed.gap_s for feed in state.feeds.strands]
    if any(gaps_s):  # what moved in a gap in the data may have lain in the channel for all of it
        rates = state.field.rate[:, 0].tolist()
        handed_min = [max(had, rate * gap_s / 60.0) for had, rate, gap_s in zip(handed_min, rates, gaps_s, strict=True)]
    return model.shared.fed(shared, state.time_s - max(gaps_s), new_mm, handed_min)


def _liner_above_s(model: Model, state: EngineState, field: FieldState, step_s: float) -> tuple[tuple[float, ...], ...]:
    """How long each liner has been above each of its limits, the step just made included [s]."""
    hottest_c = field.walls.liners_c
    if all(liner_c <= limits[0] for liner_c, limits in zip(hottest_c, model.liner_limits_c, strict=True)):
        return state.liner_above_s
    return tuple(
        tuple(above_s + step_s * (liner_c > limit_c) for above_s, limit_c in zip(spent, limits, strict=True))
        for spent, liner_c, limits in zip(state.liner_above_s, hottest_c, model.liner_limits_c, strict=True)
    )


def _counted(state: EngineState, kind: str) -> dict[str, int]:
    return {**state.counts, kind: state.counts.get(kind, 0) + 1}
