"""Since when each strand stands hot: the clock behind the standing alert, idle times and what cold feeding needs.

It begins when the merge point's wall is above the strand's glass transition, and ends when that has been below for a
while: no block cools so far and is hot again within a minute, so what says so is a wrong reading, or is hardly noticed
by the strand. Pure.
"""

import math
from typing import Final

from monitor.core.engine_state import EngineState, Model

COOL_FOR_S: Final = 60.0
"""Judgement: a manifold takes minutes from its set point to a glass transition, a wrong reading lasts for seconds."""


def with_hot_clock(model: Model, state: EngineState) -> EngineState:
    """State whose clocks go by its newest walls; walls that are not known count as hot."""
    merge_c = math.inf if state.field is None or not is_merge_known(model, state) else state.field.walls.merge_c
    is_steady = None not in state.hot_since_s and state.cool_since_s.count(None) == len(state.cool_since_s)
    if is_steady and merge_c > max(model.glass_c):
        return state  # as nearly always
    strands = zip(state.hot_since_s, state.cool_since_s, model.glass_c, strict=True)
    clocks = [_clock(hot_s, cool_s, state.time_s, is_hot=merge_c > glass_c) for hot_s, cool_s, glass_c in strands]
    return state._replace(
        hot_since_s=tuple(hot_s for hot_s, _ in clocks), cool_since_s=tuple(cool_s for _, cool_s in clocks)
    )


def cool_so_far(state: EngineState) -> EngineState:
    """State at its first reading: where that is cool, nothing stood hot, though what is not known counted as hot."""
    return state._replace(cool_since_s=(-math.inf,) * len(state.cool_since_s))


def is_merge_known(model: Model, state: EngineState) -> bool:
    """Whether anything is known of the wall at the merge point."""
    walls = [state.sensors[index] for index in model.merge_sensors]
    return all(sensor.temp_c is not None or sensor.set_c is not None for sensor in walls)


def _clock(
    hot_s: float | None, cool_s: float | None, time_s: float, *, is_hot: bool
) -> tuple[float | None, float | None]:
    """Since when a strand stands hot, and since when its wall is cool."""
    if is_hot:
        return (time_s if hot_s is None else hot_s), None
    since_s = time_s if cool_s is None else cool_s
    return (hot_s if time_s - since_s < COOL_FOR_S else None), since_s
