"""From the engine's state to what is known of one strand. Reads the state, changes nothing."""

from typing import Final

import numpy as np

from monitor.core.assessment import Activity, Array, Condition, Quality, StrandAssessment
from monitor.core.engine_state import EngineState, Model
from monitor.core.feed import is_feeding, is_withdrawn
from monitor.core.forecast import Ageing, main_doubt, time_left_s
from monitor.core.span import Span

_UNKNOWN: Final = Span(0.0, float("inf"))


def assess_strand(model: Model, state: EngineState, index: int, quality: Quality) -> StrandAssessment:
    """Everything known of the strand in place `index`, but for the alerts that concern it."""
    strand, feed = model.parameters.strands[index], state.feeds.strands[index]
    material, doing = strand.material, activity(model, state, index)
    x_mm, temp_c, dose_min = _rows(model, state, index)
    hope = material.limit_high_min / material.limit_min
    ageing = _ageing(model, state, index)
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
        warn_left_s=_left(ageing, material.warn_min, material.warn_min * hope),
        limit_left_s=_left(ageing, material.limit_min, material.limit_high_min),
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
        idle_low_s=idle_low_s(state, index),
        dose_low_min=_dose_low_min(model, state, index),
        stall=model.stalls.finding(state.stalls, index),
        flow_slip=state.stalls.inputs[index].state.limits.observed(),
        next_use_s=None if not state.next_use_s else _until(state.next_use_s[index], state.time_s),
        doubt="" if ageing is None else main_doubt(ageing, material.limit_min, material.limit_high_min),
        stand_in=strand.stand_in,
        stand_in_for=strand.stand_in_for,
    )


def _until(start_s: float | None, now_s: float) -> float | None:
    return None if start_s is None else max(0.0, start_s - now_s)


def _rows(model: Model, state: EngineState, index: int) -> tuple[Array, Array, Array]:
    """Places, temperatures and doses of one strand's parcels; ambient and fresh while nothing is known."""
    if state.field is None:
        x_mm = model.field.grid.centres_mm(0.0)
        return x_mm, np.full_like(x_mm, model.parameters.ambient_c), np.zeros_like(x_mm)
    temp_c, dose_min = model.field.path_rows(state.field)
    return model.field.centres_mm(state.field, index), temp_c[index], dose_min[index]


def _ageing(model: Model, state: EngineState, index: int) -> Ageing | None:
    """What the times left of one strand are reckoned from; None while nothing is known."""
    if state.field is None:
        return None
    x_mm, temp_c, dose_min = _rows(model, state, index)
    law, speed_mm_s = model.field.laws[index], state.feeds.strands[index].speed_mm_s
    is_moving = activity(model, state, index) is Activity.FEEDING and speed_mm_s > 0.0
    return Ageing(
        x_mm=x_mm,
        dose_min=dose_min,
        unsure_min=model.field.unsure_min(state.field, index),
        log_cautious=law.log_rate(temp_c[None, :])[0],
        log_hopeful=model.hopeful.of(index).log_rate(temp_c[None, :])[0],
        log_wet=float(law.log_factor[0, 0]),
        speed_mm_s=speed_mm_s if is_moving else 0.0,
    )


def limit_left_s(model: Model, state: EngineState, index: int) -> float:
    """Least time until a strand passes its limit dose if nothing changes [s]."""
    material = model.parameters.strands[index].material
    return _left(_ageing(model, state, index), material.limit_min, material.limit_high_min).low


def _left(ageing: Ageing | None, limit_min: float, limit_high_min: float) -> Span:
    return _UNKNOWN if ageing is None else time_left_s(ageing, limit_min, limit_high_min)


def _dose_low_min(model: Model, state: EngineState, index: int) -> float | None:
    if state.field is None or state.field.unsure_min is None:
        return None
    low_min, now_min = model.field.surest_min(state.field)[index], model.field.oldest_min(state.field)[index]
    return low_min if low_min < now_min else None


def standing_since_s(state: EngineState, strand: int) -> float | None:
    """Since when the strand stands hot without new material; None while it is cold."""
    hot_s = state.hot_since_s[strand]
    return None if hot_s is None else max(hot_s, state.feeds.strands[strand].moved_s)


def idle_low_s(state: EngineState, strand: int) -> float | None:
    """Shortest time it may have stood, where a gap in the data leaves that open."""
    feed, hot_s = state.feeds.strands[strand], state.hot_since_s[strand]
    earliest_s, latest_s = feed.moved_s, feed.moved_late_s
    if hot_s is not None:  # it stands hot no longer than it is hot
        earliest_s, latest_s = max(hot_s, earliest_s), max(hot_s, latest_s)
    return None if latest_s == earliest_s else state.time_s - latest_s


def activity(model: Model, state: EngineState, strand: int) -> Activity:
    """What the strand is doing."""
    if is_withdrawn(state.feeds.strands[strand], model.parameters.path_length_mm):
        return Activity.WITHDRAWN
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
