"""One point with limits at 10 and 20, fed and asked by hand."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from monitor.core.alert_points import Point
from monitor.core.alert_requests import answer
from monitor.core.alert_rule import Rule
from monitor.core.alert_types import HELD_BACK, AlertState, Priority, Request, RequestKind
from monitor.core.alerts import AlertBook, AlertLaw, alert_law, update


def rule(**columns: Any) -> Rule:  # noqa: ANN401 -- columns of the table, each with its own type
    """A row with two levels and no delays, but for the columns given."""
    plain: dict[str, Any] = {
        **dict.fromkeys(("condition", "title", "cause", "consequence", "action"), "test"),
        "priorities": (Priority.WARNING, Priority.ALARM),
        "unit": "K",
        "respond_within_s": 60.0,
        **dict.fromkeys(("deadband", "on_delay_s", "off_delay_s"), 0.0),
        "needs_fresh": False,
    }
    return Rule(**plain | columns)


_CALLING = {"raised", "re-raised", "escalated", "unshelved", "re-alarmed"}


@dataclass
class OnePoint:
    """What becomes of one alert; time goes on by itself unless a test sets it."""

    rule: Rule
    book: AlertBook = field(default_factory=AlertBook)
    events: list[str] = field(default_factory=list)
    called: list[str] = field(default_factory=list)
    time_s: float = 0.0
    held_back: str = ""
    """What suppresses the point by design."""

    def sees(self, value: float, at_s: float | None = None, *, fresh: bool = True) -> AlertState:
        """Give the point a value; return the state it is in then."""
        self.time_s = self.time_s if at_s is None else at_s
        self.called = []
        self.book, changes = update(
            self.book, self.law, np.array([value]), self.time_s, fresh=fresh, held_back=lambda _: self.held_back
        )
        self._note([change.event for change in changes])
        return self.state

    def asks(self, kind: RequestKind, for_s: float = 100.0) -> AlertState:
        """Have the owner ask something; return the state it is in then."""
        request = Request(self.time_s, kind, "any", "owner", "a reason", for_s)
        self.book, changes = answer(self.book, self.law, [0], request, self.time_s)
        self._note([change.event for change in changes])
        return self.state

    def _note(self, events: list[str]) -> None:
        self.events += events
        self.called += [event for event in events if event in _CALLING and self.state not in HELD_BACK]

    @property
    def law(self) -> AlertLaw:
        """The one point."""
        return alert_law((Point(self.rule, "part", (10.0, 20.0, np.inf)),))

    @property
    def state(self) -> AlertState:
        """The state's name."""
        return self.book.records[0].state if 0 in self.book.records else AlertState.NORMAL
