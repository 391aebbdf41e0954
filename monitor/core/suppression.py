"""Suppression by design: in which states of the machine an alert is not announced (ISA-18.2 / IEC 62682).

Which alert a state holds back stands in the table (alert_table.py). Reads the engine's state, changes nothing.
"""

import math
from collections.abc import Callable, Mapping
from typing import Final

from connectors.telemetry import Execution
from monitor.core.alert_rule import BUILD_OVER, JUST_RESUMED, LINK_LOST, UNDER_WAY
from monitor.core.alerts import HeldBack
from monitor.core.data_age import untold_s
from monitor.core.engine_state import EngineState, Model
from monitor.core.sensor_trace import is_under_way

_OVER: Final = frozenset({Execution.READY, Execution.STOPPED, Execution.PROGRAM_COMPLETED})


def may_build(state: EngineState) -> bool:
    """Whether a build runs or is paused, or nothing tells."""
    return state.execution not in _OVER


def held_back(model: Model, state: EngineState) -> HeldBack:
    """What holds back a point by design at this moment."""

    def why(point: int) -> str:
        reasons = model.law.points[point].rule.suppressed_by
        return next((reason for reason in reasons if _HOLDS[reason](model, state, point)), "")

    return why


def _is_under_way(model: Model, state: EngineState, point: int) -> bool:
    sensor = model.law.points[point].sensor
    return sensor is not None and is_under_way(state.traces[sensor], state.time_s)


def _is_link_lost(model: Model, state: EngineState, _: int) -> bool:
    return untold_s(state) > model.parameters.limits.unavailable_after_s


def _is_build_over(model: Model, state: EngineState, _: int) -> bool:
    """Whether a build was seen to run and to end, and no strand is above its glass transition, by last knowledge."""
    if not state.has_built or may_build(state) or state.field is None:
        return False
    hottest_set_c = max((sensor.set_c or 0.0 for sensor in state.sensors), default=0.0)
    return max(state.field.walls.merge_c, hottest_set_c) < min(model.glass_c)


def _is_just_resumed(model: Model, state: EngineState, _: int) -> bool:
    """Whether the machine has had no more time since the watch was gone on with than it has in any silence."""
    since_s = math.inf if state.resumed_s is None else state.time_s - state.resumed_s
    return since_s <= model.parameters.limits.unavailable_after_s


_HOLDS: Final[Mapping[str, Callable[[Model, EngineState, int], bool]]] = {
    UNDER_WAY: _is_under_way,
    LINK_LOST: _is_link_lost,
    BUILD_OVER: _is_build_over,
    JUST_RESUMED: _is_just_resumed,
}
