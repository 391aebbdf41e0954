"""The one panel of the screen: it turns what the client last said into a view, and the view into lines."""

import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime

from monitor.client import WatchClient
from monitor.core.alert_types import AlertState, Priority
from monitor.core.assessment import Assessment
from monitor.tui.ink import Line
from monitor.tui.line_widget import LineWidget
from monitor.tui.present import frame
from monitor.tui.view import Page, View


class WatchPanel(LineWidget):
    """Draws a watch over the whole screen and keeps what the owner chose.

    Parameters
    ----------
    client : WatchClient
        The running watch.
    ascii_only, colour : bool
        What the terminal can show.
    monotonic : callable
        Seconds that only go forward, to tell how long the watch has been silent.
    """

    def __init__(
        self,
        client: WatchClient,
        *,
        ascii_only: bool,
        colour: bool,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__(self._frame, colour=colour)
        self._client = client
        self._ascii_only = ascii_only
        self._monotonic = monotonic
        self._heard: Assessment | None = None
        self._heard_at_s = monotonic()
        self._rung: frozenset[str] = frozenset()
        self.view = View(None, client.source)

    def take_newest(self) -> bool:
        """Draw what the watch now says; True when an ALARM that was not there before wants to be acknowledged.

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
            unheard_s=now_s - self._heard_at_s,
            **self._of_this_moment(),
        )
        calling = frozenset(
            alert.id
            for alert in self.view.alerts
            if alert.priority is Priority.ALARM and alert.state is AlertState.UNACKNOWLEDGED
        )
        is_new = not calling <= self._rung
        self._rung = calling
        if is_new:
            self.change(selected=None)
        return is_new

    def _of_this_moment(self) -> dict[str, object]:
        """What of the view is not the watch's but the screen's own."""
        return {"clock": _time_of_day()}

    def change(self, **parts: object) -> None:
        """Draw anew with parts of the view changed."""
        self.view = replace(self.view, **parts)  # type: ignore[arg-type]  # checked by View itself
        self.update()

    def choose(self, step: int) -> None:
        """Mark the alert `step` places further down."""
        alerts = self.view.listed
        if alerts:
            at = min(len(alerts) - 1, max(0, self.view.chosen + step))
            self.change(selected=alerts[at].id)

    def turn_to(self, page: Page) -> None:
        """Show a page, or go back from it."""
        self.change(page=Page.WATCH if self.view.page is page else page)

    def _frame(self, width: int, height: int) -> Sequence[Line]:
        return frame(self.view, width, height, ascii_only=self._ascii_only)


def _time_of_day() -> str:
    return datetime.now().astimezone().strftime("%H:%M:%S")
