"""What a pause would cost: time to the first limit if everything stands hot, against going on.

Temperatures are taken to stay as they are. Knows nothing of words.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from monitor.core.assessment import Activity, StrandAssessment
from monitor.core.engine_state import EngineState, Model
from monitor.core.field_state import BEFORE_PATH, FieldState
from monitor.core.forecast import standing_left_s


class PauseCost(NamedTuple):
    """Until the first strand reaches its limit, everything standing and going on; strands by their place.

    `shared_s` is how long what lies on the way to the nozzle may stand until it reaches its warn dose.
    """

    first: int | None
    standing_s: float
    going_first: int | None
    going_s: float
    shared_s: float


def pause_cost(model: Model, state: EngineState, field: FieldState, strands: Sequence[StrandAssessment]) -> PauseCost:
    """Compare; strands that are cold do not count."""
    hot = [index for index, strand in enumerate(strands) if strand.activity not in {Activity.COLD, Activity.WITHDRAWN}]
    _, doses_min = model.field.path_rows(field)
    rates = field.rate[:, BEFORE_PATH:]
    limits_min = [strand.dose_limit_min for strand in strands]
    standing = {index: standing_left_s(doses_min[index], rates[index], limits_min[index]) for index in hot}
    going = {index: strands[index].limit_left_s.low for index in hot}
    first, going_first = min(hot, key=standing.__getitem__, default=None), min(hot, key=going.__getitem__, default=None)
    return PauseCost(
        first=first,
        standing_s=math.inf if first is None else standing[first],
        going_first=going_first,
        going_s=math.inf if going_first is None else going[going_first],
        shared_s=_shared_s(model, state, field),
    )


def _shared_s(model: Model, state: EngineState, field: FieldState) -> float:
    if model.shared is None or state.shared is None:
        return math.inf
    rates = field.rate[:, 0].tolist()  # at the hottest wall of the shared channel
    return min(
        (
            60.0 * max(0.0, model.warn_min[held.strand] - held.dose_min) / max(rates[held.strand], 1e-12)
            for held in model.shared.contents(state.shared)
        ),
        default=math.inf,
    )
