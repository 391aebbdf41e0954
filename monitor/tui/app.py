"""The screen of a watch in a terminal: hands keys to the desk, and draws what the desk then shows.

Holds no link and no engine, and never touches them: the watch goes on, or has ended, whatever happens here.
"""

import asyncio
import os
import sys
import time
from typing import ClassVar, Final

from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.events import Key as KeyEvent

from monitor.client import WatchClient
from monitor.replay.view import ReplayControl
from monitor.terminal_call import TerminalCall, is_unseen_alarm
from monitor.tui.desk import Desk
from monitor.tui.line_widget import LineWidget
from monitor.tui.replay_desk import ReplayDesk
from monitor.tui.terminal_choices import ascii_needed, colour_wanted
from monitor.tui.terminal_guard import TerminalWatch, ending_signals

_TYPE_NOTHING: Final = (
    "up", "down", "left", "right", "pageup", "pagedown", "home", "end", "tab", "shift+tab", "enter", "escape",
    "backspace", "ctrl+q",
)  # fmt: skip
"""Keys that type no character: bound, or the library would take some of them for its own."""

_OFTEN_HZ: Final = 8.0


class ScreenApp(App[None], inherit_bindings=False):
    """Shows one desk until the owner leaves.

    Parameters
    ----------
    desk : Desk
        What is shown, and what keys do.
    colour : bool
        Use the three colours of the priorities; the text is the same without.
    hz : float
        How often to ask for the newest assessment [1/s].
    call : TerminalCall or None
        How the terminal calls the owner; None for the bell alone.
    """

    TITLE = "strandwatch"
    ENABLE_COMMAND_PALETTE = False
    ALLOW_SELECT = False
    CSS = "Screen { background: ansi_default; color: ansi_default; overflow: hidden; }"
    BINDINGS: ClassVar[list[BindingType]] = [
        *(Binding(key, f"press('{key}')", show=False, priority=True) for key in _TYPE_NOTHING),
        Binding("ctrl+c", "leave_now", "leave", show=False, priority=True),
    ]

    def __init__(self, desk: Desk, *, colour: bool, hz: float = 4, call: TerminalCall | None = None) -> None:
        super().__init__(ansi_color=True)
        self.theme = "ansi-dark"
        self.desk = desk
        self.panel = LineWidget(desk.lines, colour=colour)
        self._hz = hz
        self._call = TerminalCall(bell=True, notices=False) if call is None else call
        self.failure: Exception | None = None
        self._terminal: TerminalWatch | None = None

    def compose(self) -> ComposeResult:
        """One panel fills the screen."""
        yield self.panel

    def on_mount(self) -> None:
        """Begin to ask the watch."""
        if not self.is_headless and sys.__stdin__ is not None and sys.__stderr__ is not None:
            self._terminal = TerminalWatch(sys.__stdin__.fileno(), sys.__stderr__.fileno())
        self.take_newest()
        self.set_interval(1 / self._hz, self.take_newest)

    def on_key(self, event: KeyEvent) -> None:
        """Hand a character to the desk; a key that types none comes by its binding."""
        event.stop()
        if event.character is not None and event.is_printable:
            self.action_press(event.character)

    def action_press(self, key: str) -> None:
        """Hand a key to the desk."""
        self.desk.press(key)
        self.panel.update()
        if self.desk.is_left:
            self.exit()

    def action_leave_now(self) -> None:
        """Leave without asking, as an interrupt does everywhere."""
        self.exit()

    def leave_quietly(self) -> None:
        """Close the screen without waiting for a terminal that takes nothing."""
        if self._terminal is not None and not self._terminal.takes_output:
            self._terminal.drop_output()
        self.exit()

    def take_newest(self) -> None:
        """Draw, unless there is nobody to draw for: a stalled terminal must not hold up a watch in this process."""
        if self._terminal is not None and self._terminal.is_gone:
            self.exit()
        elif self._terminal is None or self._terminal.takes_output:
            self.desk.take_newest()
            self.panel.update()
            self._call_owner()

    def _call_owner(self) -> None:
        """Ring for an ALARM that nobody has acknowledged, again and again; notify of a new one."""
        alarms = {alert.id: alert for alert in self.desk.view.alerts if is_unseen_alarm(alert)}
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
    desk = Desk(client, ascii_only=_ascii(ascii_only), owns_watch=owns_watch)
    await _show_app(ScreenApp(desk, colour=_colour(colour), hz=hz, call=call))


async def show_replay(control: ReplayControl, *, ascii_only: bool | None = None, colour: bool | None = None) -> None:
    """Show a replay until the owner leaves; everything else as `show`. An ALARM of the past calls nobody."""
    desk = ReplayDesk(control, ascii_only=_ascii(ascii_only))
    silent = TerminalCall(bell=False, notices=False)
    await _show_app(ScreenApp(desk, colour=_colour(colour), hz=_OFTEN_HZ, call=silent))


def _ascii(wanted: bool | None) -> bool:  # noqa: FBT001 -- the caller's own answer, if any
    return ascii_needed() if wanted is None else wanted


def _colour(wanted: bool | None) -> bool:  # noqa: FBT001 -- the caller's own answer, if any
    return colour_wanted(os.environ) if wanted is None else wanted


async def _show_app(app: ScreenApp) -> None:
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
