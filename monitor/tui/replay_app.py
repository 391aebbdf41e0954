"""The screen of a replay: that of a watch, with a bar of the time and the keys that move in it.

Nothing is asked of the past: the keys that acknowledge or shelve only say so.
"""

import os
from collections.abc import Callable
from typing import ClassVar, Final

from textual.binding import Binding, BindingType

from monitor.replay.view import ReplayControl
from monitor.terminal_call import TerminalCall
from monitor.tui.app import ScreenApp, show_app
from monitor.tui.jump import Aim, Jump
from monitor.tui.keys import KEYS, REPLAY_KEYS
from monitor.tui.panels import WatchPanel
from monitor.tui.terminal_choices import ascii_needed, colour_wanted

_OF_NOW: Final = frozenset(key.keys for key in KEYS) - frozenset(key.keys for key in REPLAY_KEYS)
_NOTHING_TO_ASK: Final = "a recording: what you asked of an alert then is replayed"
_OFTEN_HZ: Final = 8.0


class ReplayPanel(WatchPanel):
    """Draws a replay: its clock is that of the recording."""

    def __init__(self, control: ReplayControl, *, ascii_only: bool, colour: bool) -> None:
        super().__init__(control, ascii_only=ascii_only, colour=colour)
        self._control = control

    def _of_this_moment(self) -> dict[str, object]:
        replay = self._control.replay
        return {"clock": replay.clock, "replay": replay}


class ReplayApp(ScreenApp, inherit_bindings=False):
    """Shows one recording until the owner leaves.

    Parameters
    ----------
    control : ReplayControl
        The replay.
    ascii_only, colour : bool
        As of `ScreenApp`.
    hz : float
        How often to draw [1/s].
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        *(Binding(key.keys, key.action, key.brief, show=False, priority=True) for key in REPLAY_KEYS),
        Binding("ctrl+c", "leave_now", "leave", show=False, priority=True),
    ]

    def __init__(self, control: ReplayControl, *, ascii_only: bool, colour: bool, hz: float = _OFTEN_HZ) -> None:
        self._control = control
        silent = TerminalCall(bell=False, notices=False)  # an ALARM of the past calls nobody
        super().__init__(control, ascii_only=ascii_only, colour=colour, hz=hz, owns_watch=False, call=silent)

    def _panel(self, *, ascii_only: bool, colour: bool) -> WatchPanel:
        return ReplayPanel(self._control, ascii_only=ascii_only, colour=colour)

    def _take_key(self, key: str) -> None:
        """Take what belongs to a jump that is being typed, or say that nothing can be asked of the past."""
        jump = self.panel.view.jump
        if jump is not None:
            self._type(jump, key)
        elif key in _OF_NOW:
            self._control.tell(_NOTHING_TO_ASK)
            self._take_newest()

    def action_play_or_pause(self) -> None:
        """Play or pause."""
        self._move(self._control.play_or_pause)

    def action_faster(self, steps: int) -> None:
        """Change the pace."""
        self._move(lambda: self._control.faster(steps))

    def action_step(self, samples: int) -> None:
        """Go one sample on or back."""
        self._move(lambda: self._control.step(samples))

    def action_skip(self, by_s: float) -> None:
        """Go a time on or back [s]."""
        self._move(lambda: self._control.skip(by_s))

    def action_to_begin(self) -> None:
        """Go to the beginning."""
        self._move(lambda: self._control.go_to(0.0))

    def action_to_end(self) -> None:
        """Go to the end."""
        self._move(lambda: self._control.go_to(float("inf")))

    def action_to_alert(self, step: int) -> None:
        """Go to the next alert or the one before."""
        self._move(lambda: self._control.go_to_alert(step))

    def action_to_dose(self) -> None:
        """Go to where a dose passes a mark."""
        self._move(self._control.go_to_dose)

    def action_ask_feed(self) -> None:
        """Ask which input's last feed to go to."""
        self._stay()
        self.panel.change(jump=Jump(Aim.INPUT, self._control.inputs))

    def action_ask_time(self) -> None:
        """Ask for a time, or for one of the other kind while one is typed."""
        jump = self.panel.view.jump
        self._stay()
        if jump is None or jump.aim is Aim.INPUT:
            self.panel.change(jump=Jump(Aim.TIME_OF_DAY))
        else:
            self._type(jump, "t")

    def _type(self, jump: Jump, key: str) -> None:
        typed = jump.typed(key)
        self.panel.change(jump=typed if typed is None or not typed.is_done else None)
        if typed is not None and typed.is_done:
            self._move(lambda: self._follow(typed))

    def _follow(self, jump: Jump) -> None:
        time_s = jump.time_s
        if jump.aim is Aim.INPUT and jump.number in self._control.inputs:
            self._control.go_to_feed(jump.number)
        elif jump.aim is Aim.INPUT:
            self._control.tell(f"there is no input {jump.number}")
        elif time_s is None:
            self._control.tell("there is no such time")
        elif jump.aim is Aim.TIME_OF_DAY:
            self._control.go_to_clock(time_s)
        else:
            self._control.go_to(time_s)

    def _move(self, move: Callable[[], None]) -> None:
        self._stay()
        move()
        self._take_newest()

    def _stay(self) -> None:
        super()._stay()
        if self.panel.view.jump is not None:
            self.panel.change(jump=None)


async def show_replay(control: ReplayControl, *, ascii_only: bool | None = None, colour: bool | None = None) -> None:
    """Show a replay until the owner leaves; everything else as `monitor.tui.app.show`."""
    app = ReplayApp(
        control,
        ascii_only=ascii_needed() if ascii_only is None else ascii_only,
        colour=colour_wanted(os.environ) if colour is None else colour,
    )
    await show_app(app)
