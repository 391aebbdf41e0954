"""How a recording comes out: of every strand the worst dose and when it passed its marks, and the alerts raised.

Pure: one straight run of the engine. Knows nothing of files, or of what was changed.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from monitor.core.alert_table import ALERT_TABLE
from monitor.core.alert_types import AlertTransition, Priority
from monitor.core.engine import advance
from monitor.core.engine_input import EngineInput
from monitor.core.engine_state import EngineState, Model, build_model, initial_state
from monitor.core.parameters import Parameters, Strand
from monitor.replay.comparison import AlertMark, replayed_mark


@dataclass(frozen=True, slots=True)
class StrandOutcome:
    """One strand's worst dose as a share of its limit [-], and when it first passed its marks [s]; None: never."""

    input: int
    name: str
    worst_share: float = 0.0
    worst_s: float = 0.0
    warn_s: float | None = None
    limit_s: float | None = None

    def after(self, strand: Strand, dose_min: float, time_s: float) -> "StrandOutcome":
        """The same once its highest dose is so much."""
        material, share = strand.material, dose_min / strand.material.limit_min
        if share <= self.worst_share:
            return self
        return replace(
            self,
            worst_share=share,
            worst_s=time_s,
            warn_s=time_s if self.warn_s is None and dose_min >= material.warn_min else self.warn_s,
            limit_s=time_s if self.limit_s is None and dose_min >= material.limit_min else self.limit_s,
        )


@dataclass(frozen=True, slots=True)
class AlertOutcome:
    """When an alert first called with a priority [s], and what it is about."""

    words: str
    time_s: float


@dataclass(slots=True)
class Outcome:
    """What came of one run."""

    strands: dict[int, StrandOutcome]
    alerts: dict[tuple[str, Priority], AlertOutcome] = field(default_factory=dict)
    """By the alert's id, each priority that it reached."""
    changes: list[tuple[AlertMark, str]] = field(default_factory=list)
    """Changes of alerts that call somebody, in order, with what they are about."""
    end_s: float = 0.0

    @property
    def has_alarm(self) -> bool:
        """Whether an ALARM occurred."""
        return any(priority is Priority.ALARM for _, priority in self.alerts)


def outcome_of(events: Iterable[EngineInput], parameters: Parameters) -> Outcome:
    """Judge events from the first to the last."""
    model = build_model(parameters)
    state = initial_state(model)
    outcome = Outcome({it.input: StrandOutcome(it.input, it.label or it.material.name) for it in parameters.strands})
    for event in events:
        before = state
        state, told = advance(model, before, event)
        for transition in told:
            _take_alert(outcome, transition)
        if state.field is not before.field:
            _take_doses(outcome, model, state)
    outcome.end_s = state.time_s
    return outcome


def _take_doses(outcome: Outcome, model: Model, state: EngineState) -> None:
    if state.field is None:
        return
    for strand, dose_min in zip(model.parameters.strands, model.field.oldest_min(state.field), strict=True):
        outcome.strands[strand.input] = outcome.strands[strand.input].after(strand, dose_min, state.time_s)


def _take_alert(outcome: Outcome, transition: AlertTransition) -> None:
    if not transition.calls:
        return
    alert = transition.alert
    title = ALERT_TABLE[alert.condition].title if alert.condition in ALERT_TABLE else alert.condition
    words = f"{alert.subject}, {title}"
    outcome.alerts.setdefault((alert.id, alert.priority), AlertOutcome(words, transition.time_s))
    outcome.changes.append((replayed_mark(transition), words))
