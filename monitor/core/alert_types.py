"""What is told of alerts: their words, what each says, how it changes, and what the owner may do about it.

Frozen data and nothing else. How alerts come and go is `alerts.py`.
"""

from dataclasses import dataclass
from enum import IntEnum, StrEnum


class Priority(IntEnum):
    """Urgency of an alert (IMO MSC.302(87)): a higher number is more urgent."""

    CAUTION = 1
    WARNING = 2
    ALARM = 3


class AlertState(StrEnum):
    """Life-cycle state of an alert (ISA-18.2 / IEC 62682 names)."""

    NORMAL = "Normal"
    UNACKNOWLEDGED = "Unacknowledged"
    ACKNOWLEDGED = "Acknowledged"
    RETURNED = "Returned-to-normal unacknowledged"
    LATCHED = "Latched"
    SHELVED = "Shelved"
    SUPPRESSED = "Suppressed-by-design"
    OUT_OF_SERVICE = "Out-of-service"


@dataclass(frozen=True, slots=True)
class Alert:
    """An alert that is not in its normal state."""

    id: str  # constant through one activation: condition, input or part, count
    condition: str  # key in the table of alerts
    subject: str  # 'input 3', 'manifold', 'link' …
    input: int | None
    priority: Priority
    state: AlertState
    since_s: float
    text: str  # what is wrong, with the number
    action: str  # what to do
    value: float | None
    limit: float | None
    unit: str
    also: tuple[str, ...] = ()  # subjects of the alerts that have the same cause and are folded under this one
    folded_under: str = ""  # id of the alert that this one is folded under; empty while it is shown by itself


@dataclass(frozen=True, slots=True)
class AlertTransition:
    """One change of an alert's state, as recorded and printed."""

    time_s: float
    event: str  # raised, re-raised, escalated, eased, cleared, acknowledged, settled, goes on
    alert: Alert
    previous: AlertState
    actor: str  # 'engine', or who acknowledged


@dataclass(frozen=True, slots=True)
class Acknowledge:
    """The owner has seen an alert. The one thing, so far, that flows from a screen to the engine."""

    time_s: float
    alert_id: str
    actor: str
