"""The owner's side of a screen: what a key does, and what is then to be seen. Knows no terminal and no browser.

Keys come in, lines go out. Owns what the owner has chosen (page, alert, input, time shown); of the watch it knows what
any client may know.
"""

import re
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from typing import Final

from monitor.client import WatchClient
from monitor.core.alert_types import AlertState, Priority, RequestKind
from monitor.core.assessment import Assessment
from monitor.tui.find import Finding, places_of
from monitor.tui.ink import Line
from monitor.tui.keys import key_for
from monitor.tui.pages import Page
from monitor.tui.pointing import click, wheel
from monitor.tui.present import farthest_scroll, frame
from monitor.tui.questions import Question
from monitor.tui.trends.channels import alone_or_back, channels_shown, titles
from monitor.tui.trends.choice import TrendChoice
from monitor.tui.turning import back, gone_to, helped, next_strand, one_strand, turned
from monitor.tui.view import View

_DEED: Final = re.compile(r"(\w+)(?:\((-?\d+)\))?")
_PAN: Final = 0.5
"""Share of the time shown by which it is moved [-]."""


class Desk:
    """One screen of a watch.

    Parameters
    ----------
    client : WatchClient
        The running watch.
    ascii_only : bool
        Draw with ASCII characters only.
    owns_watch : bool
        Whether leaving ends the watch, so that the owner is asked once.
    monotonic : callable
        Seconds that only go forward, to tell how long the watch has been silent.
    """

    def __init__(
        self,
        client: WatchClient,
        *,
        ascii_only: bool = False,
        owns_watch: bool = False,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._client = client
        self._ascii_only, self._owns_watch = ascii_only, owns_watch
        self._monotonic = monotonic
        self._heard: Assessment | None = None
        self._heard_at_s = monotonic()
        self._calling: frozenset[str] = frozenset()
        self._size = 0, 0
        self.view = View(None, client.source)
        self._size = (80, 24)
        self.is_left = False
        """Whether the owner has left."""

    def take_newest(self) -> bool:
        """Look at what the watch now says; True when an ALARM that was not there before wants to be acknowledged.

        Such an ALARM also takes the mark back to the most urgent alert.
        """
        latest = self._client.latest
        now_s = self._monotonic()
        if latest is not self._heard:
            self._heard, self._heard_at_s = latest, now_s
        self.change(
            latest=latest,
            source=self._client.source,
            notice=self._client.notice,
            ended=self._client.ended,
            history=self._client.history,
            unheard_s=now_s - self._heard_at_s,
            **self._of_this_moment(),
        )
        calling = frozenset(
            alert.id
            for alert in self.view.alerts
            if alert.priority is Priority.ALARM and alert.state is AlertState.UNACKNOWLEDGED
        )
        is_new = not calling <= self._calling
        self._calling = calling
        if is_new:
            self.change(selected=None)
        return is_new

    def lines(self, width: int, height: int) -> tuple[Line, ...]:
        """Exactly `height` lines, none wider than `width` cells."""
        self._size = (width, height)
        self._size = width, height
        return frame(self.view, width, height, ascii_only=self._ascii_only)

    def press(self, key: str) -> None:
        """Do what a key means here: a character, or the name of a key that types none ('up', 'tab', 'escape')."""
        if self.view.finding is not None:
            self._search(self.view.finding, key)
        elif self.view.question is not None:
            self._answer(self.view.question, key)
        else:
            self._press_plain(key)

    def click(self, x: int, y: int) -> None:
        """Do what a click at a cell means on the screen as it was drawn last."""
        for key in click(self.view, *self._size, x, y):
            self.press(key)

    def turn_wheel(self, *, up: bool) -> None:
        """Do what a step of the wheel means."""
        self.press(wheel(self.view, up=up))

    def drag(self, cells: int) -> None:
        """Move the time shown along with the pointer, to the right for more than 0."""
        width = self._size[0]
        if self.view.page is Page.TRENDS and width > 0:
            self._retime(lambda it, begin_s, now_s: it.panned(-cells / width, begin_s, now_s))

    def change(self, **parts: object) -> None:
        """Change parts of the view."""
        self.view = replace(self.view, **parts)  # type: ignore[arg-type]  # checked by View itself

    def leave(self) -> None:
        """Leave without asking."""
        self.is_left = True

    def deeds(self) -> Mapping[str, Callable[..., None]]:
        """What keys can do, by name; a deed may take one whole number."""
        return {
            "acknowledge": self._acknowledge,
            "shelve": lambda: self._hold_back(AlertState.SHELVED, RequestKind.SHELVE, RequestKind.UNSHELVE),
            "service": lambda: self._hold_back(AlertState.OUT_OF_SERVICE, RequestKind.TAKE_OUT, RequestKind.PUT_BACK),
            "reset": self._reset,
            "choose": self._choose,
            "alerts": lambda: self._turn(turned, Page.ALERTS),
            "path": lambda: self._turn(turned, Page.PATH),
            "trends": lambda: self._turn(turned, Page.TRENDS),
            "ahead": lambda: self._turn(turned, Page.AHEAD),
            "help": lambda: self._turn(helped),
            "back": lambda: self._turn(back),
            "scroll": self._scroll,
            "strand": lambda number: self._turn(one_strand, number),
            "next": lambda step: self._turn(next_strand, step),
            "group": lambda step: self.change(trend=self.view.trend.other(step)),
            "graph": lambda step: self._look_at(lambda it, latest: it.beside(step, len(channels_shown(it, latest)))),
            "alone": lambda: self._look_at(alone_or_back),
            "zoom": lambda step: self._retime(lambda it, begin_s, now_s: it.zoomed(step, now_s - begin_s)),
            "pan": lambda step: self._retime(lambda it, begin_s, now_s: it.panned(_PAN * step, begin_s, now_s)),
            "whole": lambda: self.change(trend=self.view.trend.whole()),
            "find": self._find,
            "leave": self._leave,
        }

    def _of_this_moment(self) -> dict[str, object]:
        """What of the view is not the watch's but the screen's own."""
        return {"clock": _time_of_day()}

    def _press_plain(self, key: str) -> None:
        known = key_for(self.view, key)
        if known is None or known.deed != "leave":
            self.change(asked_to_leave=False)
        if known is None:
            self._press_unknown(key)
        elif known.deed == "strand":
            self._turn(one_strand, int(key))
        else:
            self._do(known.deed)

    def _press_unknown(self, key: str) -> None:
        """Take a key that means nothing here."""

    def _do(self, deed: str) -> None:
        parts = _DEED.fullmatch(deed)
        assert parts is not None  # noqa: S101 -- the table of keys is ours, and tested
        name, number = parts.groups()
        self.deeds()[name](*(() if number is None else (int(number),)))

    def _answer(self, question: Question, key: str) -> None:
        answered = question.answered(key)
        self.change(question=None)
        if answered is not None and answered.is_answered:
            self._ask(answered.kind, answered.alert_id, answered.reason, answered.for_s or 0.0)
        else:
            self.change(question=answered)

    def _acknowledge(self) -> None:
        if self.view.marked is not None:
            self._ask(RequestKind.ACKNOWLEDGE, self.view.marked.id)

    def _reset(self) -> None:
        if self.view.marked is not None:
            self._ask(RequestKind.RESET, self.view.marked.id)

    def _hold_back(self, state: AlertState, begin: RequestKind, end: RequestKind) -> None:
        marked = self.view.marked
        if marked is not None and marked.state is state:
            self._ask(end, marked.id)
        elif marked is not None and self.view.ended is None:
            self.change(question=Question(begin, marked.id))

    def _ask(self, kind: RequestKind, alert_id: str, reason: str = "", for_s: float = 0.0) -> None:
        self._client.ask(kind, alert_id, reason=reason, for_s=for_s)
        self.take_newest()

    def _choose(self, step: int) -> None:
        alerts = self.view.listed
        if alerts:
            at = min(len(alerts) - 1, max(0, self.view.chosen + step))
            self.change(selected=alerts[at].id, scroll=0)

    def _scroll(self, lines: int) -> None:
        farthest = farthest_scroll(self.view, *self._size)
        self.change(scroll=min(farthest, max(0, min(self.view.scroll, farthest) + lines)))

    def _turn(self, turn: Callable[..., View], *to: Page | int) -> None:
        self.view = turn(self.view, *to)

    def _look_at(self, change: Callable[[TrendChoice, Assessment], TrendChoice]) -> None:
        if self.view.latest is not None:
            self.change(trend=change(self.view.trend, self.view.latest))

    def _retime(self, change: Callable[[TrendChoice, float, float], TrendChoice]) -> None:
        if self.view.latest is not None:
            begin_s, now_s = self.view.known_s
            self.change(trend=change(self.view.trend, begin_s, now_s))

    def _find(self) -> None:
        self.change(finding=Finding(places_of(self.view.latest, titles(self.view.latest))))

    def _search(self, finding: Finding, key: str) -> None:
        if key == "enter":
            self.change(finding=None)
            if finding.marked is not None:
                self.view = gone_to(self.view, finding.marked)
        else:
            self.change(finding=finding.after(key))

    def _leave(self) -> None:
        """Leave, after asking once where that ends a running watch."""
        if not self._owns_watch or self._client.ended is not None or self.view.asked_to_leave:
            self.leave()
        else:
            self.change(asked_to_leave=True)


def _time_of_day() -> str:
    return datetime.now().astimezone().strftime("%H:%M:%S")
