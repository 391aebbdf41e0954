"""What is remembered of one alert, and the state's name that follows from it.

Stored are independent facts: level (active or not), acknowledged, latched, and what holds it back. The name is derived,
as ISA-18.2 and IEC 62682 have it. Knows nothing of values or limits.
"""

from dataclasses import dataclass, replace
from typing import Final, NamedTuple

from monitor.core.alert_rule import Rule
from monitor.core.alert_types import HELD_BACK, AlertState, Moment, Priority

MOST_MOMENTS: Final = 12


@dataclass(frozen=True, slots=True)
class Record:
    """What is remembered of one point that is not at rest."""

    level: int = 0  # 0: back to normal
    highest: int = 0  # level reached in this activation: what it was tells how urgent it is to be seen
    acknowledged: bool = False
    is_latched: bool = False  # held after it is over, until it is reset
    raised_s: float | None = None  # when this activation began; None before the first
    pending_level: int | None = None  # a change that has not lasted long enough yet
    pending_s: float = 0.0
    unseen_s: float | None = None  # since when it wants to be seen
    seen_s: float | None = None  # when it was acknowledged last
    is_overdue: bool = False  # a WARNING that nobody has seen for half the time there is to respond
    shelved_until_s: float | None = None
    suppressed_by: str = ""  # the machine's state that holds it back by design
    is_out: bool = False  # taken out of service
    reason: str = ""  # the owner's, for shelving it or taking it out
    story: tuple[Moment, ...] = ()

    @property
    def state(self) -> AlertState:
        """The state's name, derived from the facts."""
        if self.is_out:
            return AlertState.OUT_OF_SERVICE
        if self.shelved_until_s is not None:
            return AlertState.SHELVED
        return AlertState.SUPPRESSED if self.suppressed_by else self.bare_state

    @property
    def bare_state(self) -> AlertState:
        """The state's name if nothing held it back."""
        if self.level:
            return AlertState.ACKNOWLEDGED if self.acknowledged else AlertState.UNACKNOWLEDGED
        if self.is_latched:
            return AlertState.LATCHED_ACKNOWLEDGED if self.acknowledged else AlertState.LATCHED
        is_at_rest = self.acknowledged or self.raised_s is None
        return AlertState.NORMAL if is_at_rest else AlertState.RETURNED

    @property
    def is_held_back(self) -> bool:
        """Whether it is not announced."""
        return self.state in HELD_BACK

    @property
    def is_about_to_end(self) -> bool:
        """Whether its value has come back, and only the off-delay keeps it."""
        return self.pending_level is not None and self.pending_level < self.level

    @property
    def why_held_back(self) -> str:
        """The owner's reason, or the machine's state; empty while it is announced."""
        return self.reason if self.is_out or self.shelved_until_s is not None else self.suppressed_by


class Change(NamedTuple):
    """One transition of one point."""

    point: int
    event: str
    record: Record
    previous: AlertState


def priority_of(rule: Rule, record: Record) -> Priority:
    """Urgency of an alert: that of its level, and ALARM once a WARNING has gone unseen for too long."""
    priority = rule.priorities[max(1, record.level or record.highest) - 1]
    return Priority.ALARM if record.is_overdue and priority is Priority.WARNING else priority


def told(record: Record, event: str, time_s: float, rule: Rule, actor: str = "engine", why: str = "") -> Record:
    """The record with one more moment in its story; of a long one the beginning and the end are kept."""
    story = (*record.story, Moment(time_s, event, priority_of(rule, record), actor, why))
    if len(story) > MOST_MOMENTS:
        half = MOST_MOMENTS // 2
        story = (*story[:half], *story[-half:])
    return replace(record, story=story)
