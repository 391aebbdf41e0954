"""From the engine's state to an assessment: what a screen, a recording or a notifier may know.

Computed only when somebody looks. Reads the state, changes nothing.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from monitor.core.advice import advise
from monitor.core.alert_types import HELD_BACK, Alert, AlertState, Priority
from monitor.core.assess_alerts import Known, alerts_now
from monitor.core.assess_parts import balance_sights, liner_readings, shared_readings
from monitor.core.assess_strand import assess_strand
from monitor.core.assessment import Array, Assessment, Condition, Quality, StrandAssessment
from monitor.core.data_age import data_quality, silence_s
from monitor.core.engine_state import EngineState, Model
from monitor.core.readings import wall_readings

_CONDITION_OF: Final[Mapping[Priority, Condition]] = {
    Priority.CAUTION: Condition.NORMAL,
    Priority.WARNING: Condition.WARNING,
    Priority.ALARM: Condition.FAULT,
}


_COUNT: Final = frozenset({AlertState.UNACKNOWLEDGED, AlertState.ACKNOWLEDGED, AlertState.SHELVED})
"""What is shelved is not announced, but true all the same."""


def assess(model: Model, state: EngineState, values: Array) -> Assessment:
    """Everything known at this moment; `values` are those of the alert points."""
    quality = data_quality(model, state)
    bare = tuple(assess_strand(model, state, index, quality) for index in range(len(model.feeds)))
    liners = liner_readings(model, state)
    known = Known(bare, liners, advise(model, state, bare))
    alerts = alerts_now(model, state, values, known)
    strands = tuple(_with_condition(strand, alerts) for strand in bare)
    return Assessment(
        time_s=state.time_s,
        machine=model.parameters.machine,
        execution=state.execution,
        progress=state.progress,
        link_available=state.link_available,
        link_reason=state.link_reason,
        sample_age_s=silence_s(state),
        quality=quality,
        condition=_worst(alerts, is_known=quality is not Quality.BAD),
        zones=model.places,
        walls=wall_readings(state.sensors, model.sensors, state.time_s, model.longest_silence_s),
        strands=strands,
        liners=liners,
        alerts=tuple(alert for alert in alerts if not alert.folded_under and alert.state not in HELD_BACK),
        held_back=tuple(alert for alert in alerts if alert.state in HELD_BACK),
        counts=state.counts,
        shared=shared_readings(model, state),
        advice=known.advice,
        balances=balance_sights(model, state),
    )


def _with_condition(strand: StrandAssessment, alerts: tuple[Alert, ...]) -> StrandAssessment:
    if strand.condition is Condition.UNAVAILABLE:
        return strand
    worst = _worst(tuple(alert for alert in alerts if alert.input == strand.input), is_known=True)
    return replace(strand, condition=worst)


def _worst(alerts: tuple[Alert, ...], *, is_known: bool) -> Condition:
    if not is_known:
        return Condition.UNAVAILABLE
    active = [alert.priority for alert in alerts if alert.state in _COUNT]
    return _CONDITION_OF[max(active)] if active else Condition.NORMAL
