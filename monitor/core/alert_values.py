"""The value of every alert point, in the order of the points (alert_points.py). Decides nothing."""

import math
from collections.abc import Iterable
from typing import Final

import numpy as np

from monitor.core.alert_table import ALERT_TABLE
from monitor.core.assessment import Array
from monitor.core.data_age import untold_s
from monitor.core.engine_state import EngineState, Model
from monitor.core.feed import is_feeding, is_withdrawn
from monitor.core.field_state import FieldState
from monitor.core.readings import OFF_C
from monitor.core.sensor_trace import is_odd
from monitor.core.stall import StallState
from monitor.core.stall_findings import StallFinding, StallPattern

_HELD_K: Final = -ALERT_TABLE["cold_feed"].deadband / 2
_HOUR_S: Final = 3600.0
_WARMER_K: Final = 5.0
_NOTHING: Final = -math.inf
_STILL_LOST: Final = 0.3  # share of recent feed
_SLIGHT_PERCENT: Final = 1.0  # an alarm stands until enough has arrived again


def point_values(model: Model, state: EngineState) -> Array:
    """Value of every alert point, in the order of the points; minus infinity where there is nothing to judge."""
    now_s, feeds = state.time_s, state.feeds.strands
    is_out = [is_withdrawn(feed, model.path_mm) for feed in feeds]
    standing_h = [
        _NOTHING if out or hot_s is None else (now_s - max(hot_s, feed.moved_s)) / _HOUR_S
        for out, hot_s, feed in zip(is_out, state.hot_since_s, feeds, strict=True)
    ]
    silent_s = [now_s - sensor.seen_s for sensor in state.sensors]
    if state.field is None:
        unknown, stalled = [_NOTHING] * (4 * len(feeds)), _stalled_percent(model, state)
        liners, shared = [_NOTHING] * len(model.liner_zones), [_NOTHING] * (model.shared is not None)
        return np.array(
            [
                *unknown,
                *standing_h,
                *stalled,
                *_short_min(state),
                *liners,
                *shared,
                *_missing_j(model, state),
                *_sensing(model, state),
                *silent_s,
                untold_s(state),
            ]
        )
    walls = state.field.walls
    dose_min = _loaded(model.field.oldest_min(state.field), is_out)
    is_known = all(state.sensors[index].temp_c is not None for index in model.merge_sensors)
    lacking_k = [
        _lacking_k(
            least_c - walls.merge_c,
            is_hot=hot_s is not None and is_known,
            is_feeding=is_known and is_feeding(feed, now_s),
        )
        for least_c, hot_s, feed in zip(model.min_feed_c, state.hot_since_s, feeds, strict=True)
    ]
    ceiling_c = [walls.strand_c] * len(feeds)
    soft_min = _loaded(_softening_min(model, state.field), is_out)
    stalled = _stalled_percent(model, state)
    others = [
        *standing_h,
        *stalled,
        *_short_min(state),
        *walls.liners_c,
        *_shared_percent(model, state),
        *_missing_j(model, state),
        *_sensing(model, state),
        *silent_s,
        untold_s(state),
    ]
    return np.array([*dose_min, *soft_min, *ceiling_c, *lacking_k, *others])


def _loaded(values: Iterable[float], is_out: list[bool]) -> list[float]:
    """Values of the strands; nothing for one that is withdrawn, whatever the ledger still reckons of it."""
    return [_NOTHING if out else value for value, out in zip(values, is_out, strict=True)]


def sure_values(model: Model, state: EngineState, values: Array) -> Array:
    """The same by the walls that are known, for when a sensor is silent: minus infinity where nothing is sure.

    What is hot by a sensor that reports is hot, whatever the silent ones would say: they count as ambient here.
    """
    if state.field is None:
        return values
    oldest_s = state.time_s - model.longest_silence_s
    is_old = [
        sensor.temp_c is None or (sensor.seen_s < oldest_s and not sensor.is_estimate) for sensor in state.sensors
    ]
    walls_c = state.field.walls_c.copy()
    walls_c[1:][is_old] = min(walls_c[0], float(walls_c.min()))
    walls, known = model.field.points.facts(walls_c), values.copy()
    is_merge_known = not any(is_old[index] for index in model.merge_sensors)
    liners_c = iter(walls.liners_c)
    for index, point in enumerate(model.law.points):
        if point.rule.condition == "ceiling":
            known[index] = walls.strand_c
        elif point.rule.condition == "liner":
            known[index] = next(liners_c)
        elif point.rule.condition == "cooling":
            known[index] = walls.cold_side_c
        elif point.rule.condition == "cold_feed" and not is_merge_known:
            known[index] = _NOTHING
    return known


def _stalled_percent(model: Model, state: EngineState) -> list[float]:
    """How much of each strand's feed does not arrive, as the alert sees it [%].

    Skipping that began below a strand's lowest feeding temperature has a cause that is an alert already, and tells it.
    """
    if all(watched.state.alarm is None for watched in state.stalls.inputs):
        return [_NOTHING] * len(state.stalls.inputs)
    found = model.stalls.findings(state.stalls)
    merge_c = -math.inf if state.field is None else state.field.walls.merge_c
    still = [  # feed is lost right now, whatever the wall was when it began
        stall is not None and stall.slip > _STILL_LOST and is_feeding(feed, state.time_s)
        for stall, feed in zip(found, state.feeds.strands, strict=True)
    ]
    return [
        _NOTHING
        if stall is None
        or (_is_told_as_cold(stall, watched.state, least_c) and not (merge_c >= least_c and loses))
        or (_is_warm_again(stall, watched.state, merge_c) and not loses)
        else _lost_percent(stall)
        for stall, watched, least_c, loses in zip(found, state.stalls.inputs, model.min_feed_c, still, strict=True)
    ]


def _is_told_as_cold(stall: StallFinding, state: StallState, least_c: float) -> bool:
    wall_c = None if state.alarm is None else state.alarm.trace.manifold_c
    return stall.pattern is StallPattern.COLD_SKIPPING and wall_c is not None and wall_c < least_c


def _is_warm_again(stall: StallFinding, state: StallState, merge_c: float) -> bool:
    """Whether what made a strand skip has gone, as far as the wall tells; the next feed will show it."""
    wall_c = None if state.alarm is None else state.alarm.trace.manifold_c
    return stall.pattern is StallPattern.COLD_SKIPPING and wall_c is not None and merge_c > wall_c + _WARMER_K


def _lost_percent(found: StallFinding) -> float:
    return 100.0 if math.isnan(found.slip) else max(100.0 * found.slip, _SLIGHT_PERCENT)


def _missing_j(model: Model, state: EngineState) -> list[float]:
    """Energy that the melt should have taken from each heater and did not [J].

    Only where a strand has fed within the hour of which nothing else tells: elsewhere an encoder sees the same sooner.
    """
    missing_j = model.melt.missing_j(state.melt)
    if max(missing_j, default=_NOTHING) == _NOTHING:
        return missing_j  # as nearly always
    is_blind = any(
        feed.has_fed and state.time_s - feed.moved_late_s < _HOUR_S and model.stalls.is_blind(state.stalls, index)
        for index, feed in enumerate(state.feeds.strands)
    )
    return missing_j if is_blind else [_NOTHING] * len(state.melt)


def _short_min(state: EngineState) -> list[float]:
    """How much too early each strand may pass its limit for its next use [min]; nothing without a plan."""
    if not state.short_s:
        return [_NOTHING] * len(state.feeds.strands)
    return [
        _NOTHING if is_feeding(feed, state.time_s) else short_s / 60.0
        for feed, short_s in zip(state.feeds.strands, state.short_s, strict=True)
    ]


def _sensing(model: Model, state: EngineState) -> list[float]:
    """How far each heater is below its set point, and above it [K]; the cold end [°C]; what cannot be believed [-]."""
    low_k, high_k = [], []
    for sensor in state.sensors:
        if sensor.temp_c is None or sensor.set_c is None or sensor.set_c <= OFF_C:
            low_k.append(_NOTHING)
            high_k.append(_NOTHING)
        else:
            low_k.append(sensor.set_c - sensor.temp_c)
            high_k.append(sensor.temp_c - sensor.set_c)
    cold_end = [_NOTHING if state.field is None else state.field.walls.cold_side_c] * model.watches_cooling
    odd = [float(is_odd(trace, state.time_s)) for trace in state.traces]
    return [*low_k, *high_k, *cold_end, *odd]


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
