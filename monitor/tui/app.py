"""The screen of a watch in a terminal: hands keys to the desk, and draws what the desk then shows.

Holds no link and no engine, and never touches them: the watch goes on, or has ended, whatever happens here.
"""

import asyncio
import os
import sys
import time
from collections.abc import Callable
from typing import Final

from textual.app import App, ComposeResult
from textual.events import Event, MouseDown, MouseMove, MouseScrollDown, MouseScrollUp, MouseUp
from textual.events import Key as KeyEvent

from monitor.client import WatchClient
from monitor.replay.view import ReplayControl
from monitor.terminal_call import TerminalCall, is_unseen_alarm
from monitor.tui.desk import Desk
from monitor.tui.replay_desk import ReplayDesk
from monitor.tui.terminal.choices import ascii_needed, colour_wanted
from monitor.tui.terminal.driver import TerminalDriver
from monitor.tui.terminal.guard import TerminalWatch, ending_signals
from monitor.tui.terminal.line_widget import LineWidget

_TYPE_NOTHING: Final = frozenset((
    "up", "down", "left", "right", "pageup", "pagedown", "home", "end", "tab", "shift+tab", "enter", "escape",
    "backspace", "ctrl+q",
))  # fmt: skip
"""Keys that type no character and mean something."""

_LEAVE_NOW: Final = "ctrl+c"
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
    mouse : bool
        Take the mouse, which keeps the terminal from selecting text with it.
    """

    TITLE = "strandwatch"
    ENABLE_COMMAND_PALETTE = False
    ALLOW_SELECT = False
    CSS = "Screen { background: ansi_default; color: ansi_default; overflow: hidden; }"

    def __init__(
        self, desk: Desk, *, colour: bool, hz: float = 4, call: TerminalCall | None = None, mouse: bool = False
    ) -> None:
        super().__init__(driver_class=TerminalDriver, ansi_color=True)
        self.theme = "ansi-dark"
        self.desk = desk
        self.panel = LineWidget(desk.lines, colour=colour)
        self.mouse = mouse
        self._pressed_at: tuple[int, int] | None = None
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

    async def on_event(self, event: Event) -> None:
        """Take keys as they come: on the library's own ways some would overtake others typed before them."""
        if isinstance(event, KeyEvent):
            self._take_key(event)
        else:
            await super().on_event(event)

    def on_mouse_scroll_up(self, event: MouseScrollUp) -> None:
        """Turn the wheel up."""
        event.stop()
        self._point(lambda: self.desk.turn_wheel(up=True))

    def on_mouse_scroll_down(self, event: MouseScrollDown) -> None:
        """Turn the wheel down."""
        event.stop()
        self._point(lambda: self.desk.turn_wheel(up=False))

    def on_mouse_down(self, event: MouseDown) -> None:
        """Begin a click or a drag."""
        self._pressed_at = (event.screen_x, event.screen_y)

    def on_mouse_move(self, event: MouseMove) -> None:
        """Drag."""
        if self._pressed_at is not None and event.button and event.screen_x != self._pressed_at[0]:
            cells, self._pressed_at = event.screen_x - self._pressed_at[0], (event.screen_x, -1)
            self._point(lambda: self.desk.drag(cells))

    def on_mouse_up(self, event: MouseUp) -> None:
        """Click, where nothing was dragged."""
        if self._pressed_at == (event.screen_x, event.screen_y):
            self._point(lambda: self.desk.click(event.screen_x, event.screen_y))
        self._pressed_at = None

    def _take_key(self, event: KeyEvent) -> None:
        if event.key == _LEAVE_NOW:  # without asking, as an interrupt does everywhere
            self.exit()
        elif event.character is not None and event.is_printable:
            self._after(lambda: self.desk.press(event.character or ""))
        elif event.key in _TYPE_NOTHING:
            self._after(lambda: self.desk.press(event.key))

    def _point(self, deed: Callable[[], None]) -> None:
        if self.mouse:
            self._after(deed)

    def _after(self, deed: Callable[[], None]) -> None:
        """Show what the desk shows after a deed."""
        deed()
        self.panel.update()
        if self.desk.is_left:
            self.exit()

    @property
    def has_lost_terminal(self) -> bool:
        """True once the terminal has hung up."""
        return self._terminal is not None and self._terminal.is_gone

    def leave_quietly(self) -> None:
        """Close the screen without waiting for a terminal that takes nothing."""
        if self._terminal is not None and not self._terminal.takes_output:
            self._terminal.drop_output()
        self.exit()

    def take_newest(self) -> None:
        """Draw, unless there is nobody to draw for: a stalled terminal must not hold up a watch in this process."""
        if self.has_lost_terminal:
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
    mouse: bool = False,
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
    mouse : bool
        As of `ScreenApp`.
    """
    desk = Desk(client, ascii_only=_ascii(ascii_only), owns_watch=owns_watch)
    await _show_app(ScreenApp(desk, colour=_colour(colour), hz=hz, call=call, mouse=mouse))


async def show_replay(
    control: ReplayControl, *, ascii_only: bool | None = None, colour: bool | None = None, mouse: bool = False
) -> None:
    """Show a replay until the owner leaves; everything else as `show`. An ALARM of the past calls nobody."""
    desk = ReplayDesk(control, ascii_only=_ascii(ascii_only))
    silent = TerminalCall(bell=False, notices=False)
    await _show_app(ScreenApp(desk, colour=_colour(colour), hz=_OFTEN_HZ, call=silent, mouse=mouse))


def _ascii(wanted: bool | None) -> bool:  # noqa: FBT001 -- the caller's own answer, if any
    return ascii_needed() if wanted is None else wanted


def _colour(wanted: bool | None) -> bool:  # noqa: FBT001 -- the caller's own answer, if any
    return colour_wanted(os.environ) if wanted is None else wanted


async def _show_app(app: ScreenApp) -> None:
    loop = asyncio.get_running_loop()

    def leave() -> None:
        loop.call_soon_threadsafe(app.leave_quietly)

    with ending_signals(leave):
        await app.run_async(mouse=app.mouse)
    if app.failure is not None and not app.has_lost_terminal:  # what fails without one leaves nothing to go on for
        raise app.failure
    task = asyncio.current_task()
    if task is not None and task.cancelling():
        raise asyncio.CancelledError
