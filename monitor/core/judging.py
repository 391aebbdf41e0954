"""From new values to alerts that change: when to judge, what is told once, what goes on when another one ends.

Pure, as the engine that calls it. Knows nothing of where the values come from.
"""

from collections.abc import Mapping

from monitor.core.alert_record import Change, Record
from monitor.core.alert_requests import answer
from monitor.core.alert_types import AlertTransition, Request
from monitor.core.alert_values import point_values, sure_values
from monitor.core.alerts import noted, update
from monitor.core.assess_alerts import alert_id, transitions
from monitor.core.assessment import Quality
from monitor.core.causes import leaders_of
from monitor.core.data_age import data_quality, untold_s
from monitor.core.engine_state import EngineState, Model
from monitor.core.stall_findings import StallPattern
from monitor.core.suppression import held_back


def is_news(before: EngineState, after: EngineState) -> bool:
    """Whether alerts are to be judged: between the field's steps nothing but a stall cannot wait for the next."""
    if after.field is not before.field or after.field is None:
        return True
    if after.stalls.inputs is before.stalls.inputs:
        return False
    pairs = zip(before.stalls.inputs, after.stalls.inputs, strict=True)
    return any(
        old is not new and (old.is_told != new.is_told or old.is_settled != new.is_settled) for old, new in pairs
    )


def judge(model: Model, before: EngineState, state: EngineState) -> tuple[EngineState, tuple[AlertTransition, ...]]:
    """State with its alerts judged, and what changed of them."""
    values = point_values(model, state)
    if not state.alerts.records and not model.law.raised(values):
        return state, ()  # a healthy machine: nothing is above its limit, nothing was
    fresh = untold_s(state) <= model.longest_silence_s
    sure = None if data_quality(model, state) is Quality.GOOD else sure_values(model, state, values)
    under = leaders_of(model, state, state.alerts)
    why = held_back(model, state)
    book, changes = update(state.alerts, model.law, values, state.time_s, fresh=fresh, sure=sure, held_back=why)
    if book is not state.alerts:
        state = state._replace(alerts=book)
    changes += _going_on(model, state, under, changes)
    state = _told_patterns(model, state, changes)
    settled = _settled(model, before, state)
    for point, what in settled.items():
        event = "confirmed" if state.told_patterns.get(point) == what else "settled"
        changes += noted(book, model.law, [point], event, state.time_s)
    if settled:
        state = state._replace(settled={**state.settled, **settled})
    return state, transitions(model, state, values, changes, "engine")


def _going_on(model: Model, state: EngineState, before: Mapping[int, int], changes: list[Change]) -> list[Change]:
    """Alerts that come out from under one that has ended: their cause has not."""
    if not changes:
        return []
    changed, book = {change.point for change in changes}, state.alerts
    after = leaders_of(model, state, book)
    freed = [point for point, leader in after.items() if leader == point != before.get(point, point)]
    told = [point for point in freed if point not in changed and _stands(book.records[point])]
    return noted(book, model.law, told, "goes on", state.time_s)


def _stands(record: Record) -> bool:
    return not record.is_held_back and not record.is_about_to_end


def _told_patterns(model: Model, state: EngineState, changes: list[Change]) -> EngineState:
    """State that remembers as what a stall was told first: only another pattern is news."""
    raised = {change.point for change in changes if change.event == "raised"}.intersection(model.stall_points)
    if not raised:
        return state
    found = zip(model.stall_points, model.stalls.findings(state.stalls), strict=True)
    told = {
        point: (state.alerts.counts.get(point, 0), stall.pattern)
        for point, stall in found
        if point in raised and stall is not None
    }
    return state._replace(told_patterns={**state.told_patterns, **told})


def _settled(model: Model, before: EngineState, after: EngineState) -> dict[int, tuple[int, StallPattern]]:
    """Alert points of stalls whose pattern is final now, unless this activation has told the same before."""
    pairs = zip(model.stall_points, before.stalls.inputs, after.stalls.inputs, strict=True)
    points = [point if new.is_settled and not old.is_settled else None for point, old, new in pairs]
    if not any(point is not None for point in points):
        return {}
    found = zip(points, model.stalls.findings(after.stalls), strict=True)
    told = {
        point: (after.alerts.counts.get(point, 0), stall.pattern)
        for point, stall in found
        if point is not None and stall is not None
    }
    return {point: what for point, what in told.items() if after.settled.get(point) != what}


def requested(model: Model, state: EngineState, request: Request) -> tuple[EngineState, tuple[AlertTransition, ...]]:
    """State once the owner has asked something of an alert, and with it of all that are folded under it."""
    values = point_values(model, state)
    under = leaders_of(model, state, state.alerts)
    named = [index for index in under if alert_id(model, state, index) == request.alert_id]
    points = [index for index, leader in under.items() if leader in named or index in named]
    book, changes = answer(state.alerts, model.law, points, request, state.time_s)
    state = state._replace(alerts=book)
    return state, transitions(model, state, values, changes, request.actor)
