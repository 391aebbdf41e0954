"""Advice computed from the ledger: how far to advance or withdraw, which set point will do, whether to pause.

Reckoned when somebody looks, and only for strands that an alert concerns or that reach their warn dose within an hour:
a healthy look costs nothing. Puts together what other modules reckon and word; reads the state, changes nothing.
"""

from collections.abc import Sequence
from typing import Final

from monitor.core.advice_texts import Advance, advance_advice, moves_advice, withdraw_advice
from monitor.core.advice_types import Advice
from monitor.core.aged_part import aged_mm, softened_mm, whole_mm
from monitor.core.assessment import Activity, Quality, StrandAssessment
from monitor.core.engine_state import EngineState, Model
from monitor.core.field_state import FieldState
from monitor.core.keep_moving import moves
from monitor.core.machine_advice_texts import pause_advice, set_point_advice
from monitor.core.pause_cost import pause_cost
from monitor.core.readings import OFF_C
from monitor.core.set_point import lowest_set_point
from monitor.core.stall_findings import NOT_BY_DRIVE, NOT_FORWARD, StallPattern
from monitor.core.suppression import may_build
from monitor.core.withdrawal import withdrawal

_NEAR_S: Final = 3600.0
_NEAR: Final = "near its warn dose"  # beside the conditions of alerts
_STANDS_TOO_LONG: Final = frozenset({"dose", "standing", "next_use", _NEAR})
_MUST_GO: Final = _STANDS_TOO_LONG | {"softening", "ceiling"}
_UNHARMED: Final = frozenset({Activity.COLD, Activity.WITHDRAWN})
_BACK: Final = _MUST_GO | {"stall"}


def advise(
    model: Model, state: EngineState, strands: Sequence[StrandAssessment], *, plans: bool = True
) -> tuple[Advice, ...]:
    """Advice for this moment, strand by strand, then for the machine.

    Parameters
    ----------
    strands : Sequence[StrandAssessment]
        All of them, as assessed at this moment.
    plans : bool
        Whether to plan moves for the night as well; that costs most, and no alert's sentence tells them.
    """
    urgent = _urgent(model, state, strands)
    if state.field is None or not urgent:
        return ()
    told = []
    for index, conditions in urgent.items():
        told += _of_strand(model, state.field, index, strands[index], conditions, plans=plans)
    is_cold = all(strand.activity in _UNHARMED for strand in strands)
    if is_cold or _is_off(model, state) or strands[0].quality is Quality.BAD:
        return tuple(told)  # nothing is heated, or walls are guesses on which no set point can rest
    if any(_has_to_do_with_heat(strands[index], conditions) for index, conditions in urgent.items()):
        told.append(set_point_advice(strands, lowest_set_point(model, state, state.field, strands)))
    if may_build(state):
        told.append(pause_advice(strands, pause_cost(model, state, state.field, strands)))
    return tuple(told)


def _has_to_do_with_heat(strand: StrandAssessment, conditions: frozenset[str]) -> bool:
    """Whether a set point may help: an empty spool or a worn groove is as bad at any."""
    return conditions != {"stall"} or not _stalls_like(strand, NOT_BY_DRIVE)


def _stalls_like(strand: StrandAssessment, patterns: frozenset[StallPattern]) -> bool:
    return strand.stall is not None and strand.stall.pattern in patterns


def _is_off(model: Model, state: EngineState) -> bool:
    """Whether the manifold's heaters are known to be switched off."""
    set_c = [state.sensors[index].set_c for index in model.merge_sensors]
    return all(value is not None and value <= OFF_C for value in set_c)


def _urgent(model: Model, state: EngineState, strands: Sequence[StrandAssessment]) -> dict[int, frozenset[str]]:
    """Strands that an alert concerns, or that are hot and reach their warn dose within the hour, and why each is."""
    points = [model.law.points[index] for index, record in state.alerts.records.items() if record.level]
    found = {}
    for index, strand in enumerate(strands):
        conditions = {point.rule.condition for point in points if point.strand == index}
        if strand.activity not in _UNHARMED and strand.warn_left_s.low <= _NEAR_S:
            conditions.add(_NEAR)
        if conditions:
            found[index] = frozenset(conditions)
    return found


def _of_strand(
    model: Model,
    field: FieldState,
    index: int,
    strand: StrandAssessment,
    conditions: frozenset[str],
    *,
    plans: bool,
) -> list[Advice]:
    way, told = _advance(model, field, index), []
    is_free = not _stalls_like(strand, NOT_FORWARD)
    if is_free and way.length_mm > 0.0 and conditions & _MUST_GO:
        told.append(advance_advice(strand, way))
    if conditions & _BACK and not _stalls_like(strand, NOT_BY_DRIVE):
        told.append(withdraw_advice(strand, withdrawal(model.field, field, index, strand)))
    is_standing = strand.activity is Activity.IDLE and not way.is_weak and strand.quality is not Quality.BAD
    if plans and is_free and is_standing and conditions & _STANDS_TOO_LONG:
        plan = moves(model.field, field, index, model.parameters.filament_diameter_mm)
        told.append(moves_advice(strand, plan, way.purge_mm))
    return told


def _advance(model: Model, field: FieldState, index: int) -> Advance:
    material = model.parameters.strands[index].material
    above_min = material.warn_min / 2
    soft_mm = softened_mm(model.field, field, index, model.parameters.limits.softening_warn_min / 2)
    return Advance(
        length_mm=whole_mm(max(aged_mm(model.field, field, index, above_min), soft_mm)),
        over_limit_mm=whole_mm(aged_mm(model.field, field, index, material.limit_min)),
        softened_mm=soft_mm,
        above_min=above_min,
        purge_mm=0.0 if model.shared is None else whole_mm(model.shared.length_mm),
        is_weak=field.walls.cold_side_c > material.glass_c,
    )
