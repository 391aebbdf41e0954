"""Which alerts have one cause at this moment, and which of them leads. Reads the engine's state, changes nothing.

Beside the groups that stand in the table there is one that only the evidence tells: a strand that skips because the
manifold is cold has the cause of all that is wrong with a cold manifold.
"""

from collections.abc import Mapping

from monitor.core.alert_folding import leaders
from monitor.core.alert_points import COLD_MANIFOLD
from monitor.core.alerts import AlertBook
from monitor.core.engine_state import EngineState, Model
from monitor.core.stall_alarm import Alarm
from monitor.core.stall_findings import StallPattern


def leaders_of(model: Model, state: EngineState, book: AlertBook) -> dict[int, int]:
    """For each point of `book` that is not at rest, the one it is folded under; itself where it leads."""
    return leaders(model.law, book.records, _causes(model, state, book)) if book.records else {}


def _causes(model: Model, state: EngineState, book: AlertBook) -> Mapping[int, str]:
    if not any(point in book.records for point in model.stall_points):
        return {}
    found = zip(
        model.stall_points, model.stalls.findings(state.stalls), state.stalls.inputs, model.min_feed_c, strict=True
    )
    return {
        point: COLD_MANIFOLD
        for point, stall, watched, least_c in found
        if stall is not None
        and (stall.pattern is StallPattern.COLD_SKIPPING or _was_too_cold(watched.state.alarm, least_c))
    }


def _was_too_cold(alarm: Alarm | None, least_c: float) -> bool:
    """Whether the wall was below what the strand needs when it stopped: whatever it looked like, that is the cause."""
    wall_c = None if alarm is None else alarm.trace.manifold_c
    return wall_c is not None and wall_c < least_c
