"""The lowest manifold set point that will do, and the time it buys.

It must let every strand feed that is needed soon, and may exceed no ceiling and no liner's limit. The time left at it
is reckoned by running the field ahead. Walls other than the manifold's are taken to stay as they are, which errs to the
cautious side: they cool along. Knows nothing of words.
"""

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

from monitor.core.assessment import Activity, Array, StrandAssessment
from monitor.core.engine_state import EngineState, Model
from monitor.core.field_state import FieldState
from monitor.core.outlook import Limits, Stretch, look_ahead
from monitor.core.stall_findings import StallPattern

SOON_S: Final = 3600.0
"""A strand that fed within so long is needed soon, where no plan of the build tells. Judgement."""
MARGIN_K: Final = 2.0
"""A regulated wall swings about its set point. Judgement."""
RAMP_K_PER_MIN: Final = 3.0
"""How fast the manifold is taken to follow its set point; judgement, slower than most."""
_HORIZON_S: Final = 100 * 3600.0
_SHORTEST_S: Final = 4.0


class SetPoint(NamedTuple):
    """A set point and what it does; strands by their place in the parameters.

    Times are those until the first strand that stands hot reaches its limit, of those that have not passed it: `first`
    with the manifold as it is, `then_first` with the set point.
    """

    set_c: float
    needed_by: int
    all_c: float  # at which every strand could feed
    all_by: int
    now_c: float
    least_ceiling_c: float
    least_ceiling: int
    hot_liner: str | None  # the first liner that would be above its first limit
    first: int | None
    left_s: float
    then_first: int | None
    then_left_s: float

    @property
    def is_allowed(self) -> bool:
        """Whether no ceiling and no liner speaks against it."""
        return self.set_c <= self.least_ceiling_c and self.hot_liner is None


def lowest_set_point(
    model: Model, state: EngineState, field: FieldState, strands: Sequence[StrandAssessment]
) -> SetPoint:
    """Find it, and reckon the time left at it."""
    feeding_c = model.min_feed_c
    needed_by, all_by = neediest(model, state, strands), max(range(len(strands)), key=feeding_c.__getitem__)
    ceilings_c = [strand.material.ceiling_c for strand in model.parameters.strands]
    least = min(range(len(ceilings_c)), key=ceilings_c.__getitem__)
    set_c, now_c = enough_c(feeding_c[needed_by]), _now_c(model, state, field)
    walls_c = walls_at(model, field, set_c)
    left = {index: strand.limit_left_s.low for index, strand in enumerate(strands) if _is_at_stake(strand)}
    then = {index: _left_at(model, field, index, walls_c) for index in left}
    first, left_s = _first(left)
    then_first, then_left_s = _first(then)
    return SetPoint(
        set_c=set_c,
        needed_by=needed_by,
        all_c=enough_c(feeding_c[all_by]),
        all_by=all_by,
        now_c=now_c,
        least_ceiling_c=ceilings_c[least],
        least_ceiling=least,
        hot_liner=_hot_liner(model, walls_c),
        first=first,
        left_s=left_s,
        then_first=then_first,
        then_left_s=then_left_s,
    )


def neediest(model: Model, state: EngineState, strands: Sequence[StrandAssessment]) -> int:
    """Place of the strand in use that needs the hottest manifold; of all, where none is in use.

    In use are those needed soon, and those of which an alert says that the manifold is too cold.
    """
    told = {model.law.points[index] for index, record in state.alerts.records.items() if record.level}
    too_cold = {point.strand for point in told if point.rule.condition == "cold_feed"}
    in_use = [
        index
        for index, strand in enumerate(strands)
        if index in too_cold or _skips_cold(strand) or _is_needed_soon(strand)
    ]
    return max(in_use or range(len(strands)), key=model.min_feed_c.__getitem__)


def enough_c(least_c: float) -> float:
    """Set point at which a strand that needs at least `least_c` can feed [°C]."""
    return float(math.ceil(least_c + MARGIN_K))


def walls_at(model: Model, field: FieldState, set_c: float) -> Array:
    """Wall vector once the sensors at the merge point have come to `set_c` [°C]."""
    walls_c = field.walls_c.copy()
    for sensor in model.merge_sensors:
        walls_c[sensor + 1] = set_c  # ambient comes first
    return walls_c


def ramp_s(from_c: float, to_c: float) -> float:
    """How long the manifold is taken to need from one temperature to another [s]."""
    return max(_SHORTEST_S, abs(to_c - from_c) / RAMP_K_PER_MIN * 60.0)


def _is_needed_soon(strand: StrandAssessment) -> bool:
    if strand.next_use_s is not None:
        return strand.next_use_s <= SOON_S
    return strand.fed_mm is not None and strand.fed_mm > 0.0 and strand.idle_s <= SOON_S


def _skips_cold(strand: StrandAssessment) -> bool:
    return strand.stall is not None and strand.stall.pattern is StallPattern.COLD_SKIPPING


def _is_at_stake(strand: StrandAssessment) -> bool:
    return strand.activity is Activity.IDLE and strand.limit_left_s.low > 0.0


def _now_c(model: Model, state: EngineState, field: FieldState) -> float:
    """Highest set point of the sensors at the merge point; its wall where none is known."""
    set_c = [state.sensors[index].set_c for index in model.merge_sensors]
    known_c = [value for value in set_c if value is not None]
    return max(known_c) if known_c else field.walls.merge_c


def _left_at(model: Model, field: FieldState, strand: int, walls_c: Array) -> float:
    own, state = model.field.of(strand), model.field.state_of(field, strand)
    material, limits = model.parameters.strands[strand].material, model.parameters.limits
    looked_for = Limits(material.warn_min, material.limit_min, limits.softening_warn_min, limits.softening_limit_min)
    low_c, high_c = field.walls.merge_c, model.field.points.facts(walls_c).merge_c
    future = [Stretch(ramp_s(low_c, high_c), walls_c, (0.0,)), Stretch(_HORIZON_S, walls_c, (0.0,))]
    return float(look_ahead(own, state, future, [looked_for])[0].limit_s)


def _first(left_s: dict[int, float]) -> tuple[int | None, float]:
    soonest = min(left_s, key=left_s.__getitem__, default=None)
    return soonest, math.inf if soonest is None else left_s[soonest]


def _hot_liner(model: Model, walls_c: Array) -> str | None:
    liners = zip(model.liner_zones, model.field.points.facts(walls_c).liners_c, model.liner_limits_c, strict=True)
    return next(
        (model.parameters.zones[zone].name for zone, liner_c, limits_c in liners if liner_c > limits_c[0]), None
    )
