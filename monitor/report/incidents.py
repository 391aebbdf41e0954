"""Alerts as incidents: one for each activation, with its story. Bounded. Knows nothing of what caused them."""

from dataclasses import dataclass, field
from typing import Final

from monitor.core.alert_types import Alert, AlertState, AlertTransition, Moment, Priority

_MOST: Final = 500
_MOST_MOMENTS: Final = 40
_GETS_WORSE: Final = frozenset({"raised", "re-raised", "escalated"})
_SETTLES: Final = frozenset({"settled", "confirmed"})
"""Events that tell what a stall turned out to be; the first of them is what the first failure was."""
_SILENT: Final = frozenset({AlertState.NORMAL, AlertState.SUPPRESSED})


@dataclass(frozen=True, slots=True)
class Incident:
    """One activation of an alert, from when it was first announced.

    `first_text` and `action` are the words of that moment, `worst_text` those at its highest priority; `ended_s` is
    None while it stands.
    """

    id: str
    condition: str
    subject: str
    input: int | None
    priority: Priority
    raised_s: float
    ended_s: float | None
    first_text: str
    worst_text: str
    action: str
    folded_under: str
    moments: tuple[Moment, ...]

    @property
    def acknowledged_s(self) -> float | None:
        """When somebody first said that it had been seen."""
        return next((moment.time_s for moment in self.moments if moment.event == "acknowledged"), None)


@dataclass(slots=True)
class _Open:
    first: Alert
    raised_s: float
    worst: Alert
    folded_under: str
    ended_s: float | None = None
    is_settled: bool = False
    moments: list[Moment] = field(default_factory=list)


class IncidentBook:
    """Makes incidents of the changes of alerts, in order. What only came while held back by design leaves no trace."""

    def __init__(self) -> None:
        self._open: dict[str, _Open] = {}
        self.dropped = 0
        """Activations beyond what is kept."""

    def take(self, transition: AlertTransition) -> None:
        """Add one change."""
        alert = transition.alert
        known = self._open.get(alert.id)
        if known is None:
            known = self._begun(transition)
        if known is None:
            return
        gets_worse = transition.event in _GETS_WORSE and alert.priority >= known.worst.priority
        if gets_worse or (transition.event in _SETTLES and not known.is_settled):
            known.worst = alert
        known.is_settled = known.is_settled or transition.event in _SETTLES
        known.ended_s = transition.time_s if transition.event in {"cleared", "latched"} else known.ended_s
        if transition.event in {"re-raised", "raised"}:
            known.ended_s = None
        if len(known.moments) < _MOST_MOMENTS:
            known.moments.append(Moment(transition.time_s, transition.event, alert.priority, transition.actor))

    def _begun(self, transition: AlertTransition) -> _Open | None:
        alert = transition.alert
        if alert.state in _SILENT:
            return None
        if len(self._open) >= _MOST:
            self.dropped += 1
            return None
        self._open[alert.id] = _Open(alert, transition.time_s, alert, alert.folded_under)
        return self._open[alert.id]

    def incidents(self) -> tuple[Incident, ...]:
        """All, in the order in which they were announced."""
        return tuple(_incident(known) for known in self._open.values())


def _incident(known: _Open) -> Incident:
    first, worst = known.first, known.worst
    return Incident(
        id=first.id,
        condition=first.condition,
        subject=first.subject,
        input=first.input,
        priority=worst.priority,
        raised_s=known.raised_s,
        ended_s=known.ended_s,
        first_text=first.text,
        worst_text=worst.text,
        action=first.action,
        folded_under=known.folded_under,
        moments=tuple(known.moments),
    )
