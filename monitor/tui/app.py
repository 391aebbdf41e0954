"""The screen of a watch: a client that asks for the newest assessment a few times a second and draws it.

Holds no link and no engine, and never touches them: the watch goes on, or has ended, whatever happens here.
"""

import asyncio
import os
import sys
import time
from typing import ClassVar

from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.events import Key as KeyEvent

from monitor.client import WatchClient
from monitor.core.alert_types import AlertState, RequestKind
from monitor.terminal_call import TerminalCall, is_unseen_alarm
from monitor.tui.keys import KEYS
from monitor.tui.panels import WatchPanel
from monitor.tui.questions import Question
from monitor.tui.terminal_choices import ascii_needed, colour_wanted
from monitor.tui.terminal_guard import TerminalWatch, ending_signals
from monitor.tui.view import Page


class ScreenApp(App[None], inherit_bindings=False):
    """Shows one watch until the owner leaves.

    Parameters
    ----------
    client : WatchClient
        The running watch.
    ascii_only : bool
        Draw with ASCII characters only.
    colour : bool
        Use the three colours of the priorities; the text is the same without.
    hz : float
        How often to ask for the newest assessment [1/s].
    owns_watch : bool
        Whether leaving ends the watch, so that the owner is asked once.
    call : TerminalCall or None
        How the terminal calls the owner; None for the bell alone.
    """

    TITLE = "strandwatch"
    ENABLE_COMMAND_PALETTE = False
    ALLOW_SELECT = False
    CSS = "Screen { background: ansi_default; color: ansi_default; overflow: hidden; }"
    BINDINGS: ClassVar[list[BindingType]] = [
        *(Binding(key.keys, key.action, key.brief, show=False, priority=True) for key in KEYS),
        Binding("ctrl+c", "leave_now", "leave", show=False, priority=True),
    ]

    def __init__(
        self,
        client: WatchClient,
        *,
        ascii_only: bool,
        colour: bool,
        hz: float = 4,
        owns_watch: bool = True,
        call: TerminalCall | None = None,
    ) -> None:
        super().__init__(ansi_color=True)
        self.theme = "ansi-dark"
        self._client = client
        self._hz = hz
        self._owns_watch = owns_watch
        self.panel = self._panel(ascii_only=ascii_only, colour=colour)
        self._call = TerminalCall(bell=True, notices=False) if call is None else call
        self.failure: Exception | None = None
        self._terminal: TerminalWatch | None = None

    def _panel(self, *, ascii_only: bool, colour: bool) -> WatchPanel:
        return WatchPanel(self._client, ascii_only=ascii_only, colour=colour)

    def compose(self) -> ComposeResult:
        """One panel fills the screen."""
        yield self.panel

    def on_mount(self) -> None:
        """Begin to ask the watch."""
        if not self.is_headless and sys.__stdin__ is not None and sys.__stderr__ is not None:
            self._terminal = TerminalWatch(sys.__stdin__.fileno(), sys.__stderr__.fileno())
        self._take_newest()
        self.set_interval(1 / self._hz, self._take_newest)

    def on_key(self, event: KeyEvent) -> None:
        """Any key that means nothing else: an answer, or the owner stays."""
        event.stop()
        self._take_key(event.key)

    def _take_key(self, key: str) -> None:
        question = self.panel.view.question
        self._stay()
        answered = None if question is None else question.answered(key)
        if answered is not None and answered.is_answered:
            self._ask(answered.kind, answered.alert_id, answered.reason, answered.for_s or 0.0)
        elif answered is not None:
            self.panel.change(question=answered)

    def action_acknowledge(self) -> None:
        """Tell the watch that the owner has seen the marked alert."""
        self._stay()
        if self.panel.view.marked is not None:
            self._ask(RequestKind.ACKNOWLEDGE, self.panel.view.marked.id)

    def action_shelve(self) -> None:
        """Ask for how long, and why, the marked alert is to be shelved; or have a shelved one announced again."""
        self._hold_back(AlertState.SHELVED, RequestKind.SHELVE, RequestKind.UNSHELVE)

    def action_service(self) -> None:
        """Ask why the marked alert is to be taken out of service; or put it back."""
        self._hold_back(AlertState.OUT_OF_SERVICE, RequestKind.TAKE_OUT, RequestKind.PUT_BACK)

    def action_reset(self) -> None:
        """Tell the watch that what a latched alert did has been looked at."""
        self._stay()
        if self.panel.view.marked is not None:
            self._ask(RequestKind.RESET, self.panel.view.marked.id)

    def _hold_back(self, state: AlertState, begin: RequestKind, end: RequestKind) -> None:
        self._stay()
        marked = self.panel.view.marked
        if marked is not None and marked.state is state:
            self._ask(end, marked.id)
        elif marked is not None:
            self.panel.change(question=Question(begin, marked.id))

    def _ask(self, kind: RequestKind, alert_id: str, reason: str = "", for_s: float = 0.0) -> None:
        self._client.ask(kind, alert_id, reason=reason, for_s=for_s)
        self._take_newest()

    def action_choose(self, step: int) -> None:
        """Mark another alert."""
        self._stay()
        self.panel.choose(step)

    def action_page(self, name: str) -> None:
        """Turn to a page, or back."""
        self._stay()
        self.panel.turn_to(Page[name])

    def action_leave(self) -> None:
        """Leave, after asking once where that ends a running watch."""
        view = self.panel.view
        if not self._owns_watch or self._client.ended is not None or view.asked_to_leave:
            self.exit()
        else:
            self.panel.change(asked_to_leave=True)

    def action_leave_now(self) -> None:
        """Leave without asking, as an interrupt does everywhere."""
        self.exit()

    def _stay(self) -> None:
        if self.panel.view.asked_to_leave or self.panel.view.question is not None:
            self.panel.change(asked_to_leave=False, question=None)

    def leave_quietly(self) -> None:
        """Close the screen without waiting for a terminal that takes nothing."""
        if self._terminal is not None and not self._terminal.takes_output:
            self._terminal.drop_output()
        self.exit()

    def _take_newest(self) -> None:
        """Draw, unless there is nobody to draw for: a stalled terminal must not hold up a watch in this process."""
        if self._terminal is not None and self._terminal.is_gone:
            self.exit()
        elif self._terminal is None or self._terminal.takes_output:
            self.panel.take_newest()
            self._call_owner()

    def _call_owner(self) -> None:
        """Ring for an ALARM that nobody has acknowledged, again and again; notify of a new one."""
        alarms = {alert.id: alert for alert in self.panel.view.alerts if is_unseen_alarm(alert)}
        call = self._call.look(alarms, time.monotonic())
        if call.rings:
            self.bell()
        for notice in call.notices:
            self._write(notice)

    def _write(self, sequence: str) -> None:
        """Hand a control sequence to the terminal, as `bell` does."""
        if not self.is_headless and self._driver is not None:
            self._driver.write(sequence)

    def _handle_exception(self, error: Exception) -> None:
        """Keep the first failure for `show` to raise, instead of printing it with the values of all locals."""
        if self.failure is None:
            self.failure = error
        super()._handle_exception(error)

    def _fatal_error(self) -> None:
        self._close_messages_no_wait()


async def show(
    client: WatchClient,
    *,
    ascii_only: bool | None = None,
    colour: bool | None = None,
    hz: float = 4,
    owns_watch: bool = True,
    call: TerminalCall | None = None,
) -> None:
    """Show a watch until the owner leaves, the process is told to end, or the terminal goes away.

    The terminal is restored in every case. Whatever failed in the screen is raised again after that.

    Parameters
    ----------
    client : WatchClient
        The running watch.
    ascii_only, colour : bool or None
        None to follow the locale and NO_COLOR.
    hz : float
        How often to ask for the newest assessment [1/s].
    owns_watch : bool
        Whether leaving ends the watch.
    call : TerminalCall or None
        How the terminal calls the owner; None for the bell alone.
    """
    app = ScreenApp(
        client,
        ascii_only=ascii_needed() if ascii_only is None else ascii_only,
        colour=colour_wanted(os.environ) if colour is None else colour,
        hz=hz,
        owns_watch=owns_watch,
        call=call,
    )
    await show_app(app)


async def show_app(app: ScreenApp) -> None:
    """Show a screen until the owner leaves, the process is told to end, or the terminal goes away; see `show`."""
    loop = asyncio.get_running_loop()

    def leave() -> None:
        loop.call_soon_threadsafe(app.leave_quietly)

    with ending_signals(leave):
        await app.run_async(mouse=False)
    if app.failure is not None:
        raise app.failure
    task = asyncio.current_task()
    if task is not None and task.cancelling():
        raise asyncio.CancelledError
