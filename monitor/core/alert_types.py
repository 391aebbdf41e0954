"""What is told of alerts: their words, what each says, how it changes, and what the owner may ask of it.

Frozen data and nothing else. How alerts come and go is `alerts.py`.
"""

from dataclasses import dataclass
from enum import IntEnum, StrEnum
from typing import Final, NamedTuple


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
    LATCHED = "Latched unacknowledged"  # over, but what it did has to be looked at
    LATCHED_ACKNOWLEDGED = "Latched acknowledged"  # seen; waits for a reset
    SHELVED = "Shelved"
    SUPPRESSED = "Suppressed-by-design"
    OUT_OF_SERVICE = "Out-of-service"


HELD_BACK: Final = frozenset({AlertState.SHELVED, AlertState.SUPPRESSED, AlertState.OUT_OF_SERVICE})
"""States in which an alert is not announced."""

_CALLS: Final = frozenset({"raised", "re-raised", "escalated", "settled", "goes on", "re-alarmed", "unshelved"})


class Moment(NamedTuple):
    """One thing that happened to an alert."""

    time_s: float
    event: str
    priority: Priority
    actor: str
    why: str = ""  # where the event alone does not tell


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
    also: tuple[str, ...] = ()  # subjects of the alerts folded under this one; of its own subject, what else is wrong
    folded_under: str = ""  # id of the alert that this one is folded under; empty while it is shown by itself
    why_held_back: str = ""  # the owner's reason, or the machine's state; empty while it is announced
    held_back_until_s: float | None = None  # end of a shelving
    story: tuple[Moment, ...] = ()  # what happened to it in this activation, oldest first; long ones lose their middle
    respond_within_s: float | None = None  # time there is from `since_s` on


@dataclass(frozen=True, slots=True)
class AlertTransition:
    """One change of an alert's state, as recorded and printed.

    Events: raised, re-raised, escalated, eased, cleared, latched, acknowledged, reset, settled (a stall's pattern is
    another one than first told), confirmed (it is the same), goes on (a cause, when the alert that told it ends),
    re-alarmed, shelved, unshelved, suppressed, out of service, in service.
    """

    time_s: float
    event: str
    alert: Alert
    previous: AlertState
    actor: str  # 'engine', or who asked for it
    quality: str = "GOOD"  # trust in the value: GOOD, STALE or BAD

    @property
    def calls(self) -> bool:
        """Whether somebody should be told: it calls for something, is announced, and no other alert has its cause."""
        is_announced = self.alert.state not in HELD_BACK and self.alert.state is not AlertState.NORMAL
        return self.event in _CALLS and is_announced and not self.alert.folded_under

    @property
    def is_by_design(self) -> bool:
        """Whether an alert only came, or went, while the machine's state held it back: a heater on its way, say."""
        return AlertState.SUPPRESSED in {self.alert.state, self.previous} and not self.calls


class RequestKind(StrEnum):
    """What the owner may ask of an alert."""

    ACKNOWLEDGE = "acknowledge"  # it has been seen
    SHELVE = "shelve"  # not to be announced for a time
    UNSHELVE = "unshelve"
    RESET = "reset"  # what a latched alert did has been looked at
    TAKE_OUT = "take out of service"  # not to be announced until put back
    PUT_BACK = "put back in service"


LONGEST_SHELVING_S: Final = 8 * 3600.0
"""No alert is shelved for longer than a night [s] (judgement)."""


@dataclass(frozen=True, slots=True)
class Request:
    """What the owner asks of an alert. The one thing that flows from a screen to the engine.

    `for_s` belongs to shelving [s]; shelving and taking out of service need a `reason`.
    """

    time_s: float
    kind: RequestKind
    alert_id: str
    actor: str
    reason: str = ""
    for_s: float = 0.0

    def __post_init__(self) -> None:
        needs_reason = self.kind in {RequestKind.SHELVE, RequestKind.TAKE_OUT}
        if needs_reason and not self.reason.strip():
            raise ValueError(f"reason is empty; to {self.kind} an alert needs one")
        if self.kind is RequestKind.SHELVE and not 0.0 < self.for_s <= LONGEST_SHELVING_S:
            raise ValueError(f"for_s is {self.for_s}; allowed: above 0 up to {LONGEST_SHELVING_S:g}")
