"""The owner's side of a screen that shows a recording: that of a watch, with keys that move in time.

Nothing is asked of the past: the keys that acknowledge or shelve only say so.
"""

from collections.abc import Callable, Mapping
from typing import Final

from monitor.replay.view import ReplayControl
from monitor.tui.desk import Desk
from monitor.tui.jump import Aim, Jump
from monitor.tui.keys import KEYS, REPLAY_KEYS

_OF_NOW: Final = frozenset(key for row in KEYS for key in row.keys) - frozenset(
    key for row in REPLAY_KEYS for key in row.keys
)
_NOTHING_TO_ASK: Final = "a recording: what you asked of an alert then is replayed"


class ReplayDesk(Desk):
    """One screen of a replay.

    Parameters
    ----------
    control : ReplayControl
        The replay.
    ascii_only : bool
        As of `Desk`.
    """

    def __init__(self, control: ReplayControl, *, ascii_only: bool = False) -> None:
        super().__init__(control, ascii_only=ascii_only)
        self.control = control

    def press(self, key: str) -> None:
        """Do what a key means here; what belongs to a jump that is being typed, first."""
        jump = self.view.jump
        if jump is None:
            super().press(key)
        else:
            self._type(jump, key)

    def deeds(self) -> Mapping[str, Callable[..., None]]:
        """What keys can do, those that move in time as well."""
        control = self.control
        return {
            **super().deeds(),
            "play_or_pause": lambda: self._move(control.play_or_pause),
            "faster": lambda steps: self._move(lambda: control.faster(steps)),
            "step": lambda samples: self._move(lambda: control.step(samples)),
            "skip": lambda by_s: self._move(lambda: control.skip(by_s)),
            "to_begin": lambda: self._move(lambda: control.go_to(0.0)),
            "to_end": lambda: self._move(lambda: control.go_to(float("inf"))),
            "to_alert": lambda step: self._move(lambda: control.go_to_alert(step)),
            "to_dose": lambda: self._move(control.go_to_dose),
            "ask_feed": lambda: self.change(jump=Jump(Aim.INPUT, control.inputs)),
            "ask_time": lambda: self.change(jump=Jump(Aim.TIME_OF_DAY)),
        }

    def _of_this_moment(self) -> dict[str, object]:
        replay = self.control.replay
        return {"clock": replay.clock, "replay": replay}

    def _press_unknown(self, key: str) -> None:
        if key in _OF_NOW:
            self.control.tell(_NOTHING_TO_ASK)
            self.take_newest()

    def _type(self, jump: Jump, key: str) -> None:
        """Take a key of a jump; the other question's key asks that one instead, any other key gives up."""
        other = {"f": Jump(Aim.INPUT, self.control.inputs), "t": Jump(Aim.TIME_OF_DAY)}
        typed = jump.typed(key)
        if typed is None and key in other:
            self.change(jump=other[key])
        elif typed is None:
            self.change(jump=None)
            self.press(key)
        else:
            self.change(jump=None if typed.is_done else typed)
            if typed.is_done:
                self._move(lambda: self._follow(typed))

    def _follow(self, jump: Jump) -> None:
        time_s = jump.time_s
        if jump.aim is Aim.INPUT and jump.number in self.control.inputs:
            self.control.go_to_feed(jump.number)
        elif jump.aim is Aim.INPUT:
            self.control.tell(f"there is no input {jump.number}")
        elif time_s is None:
            self.control.tell("there is no such time")
        elif jump.aim is Aim.TIME_OF_DAY:
            self.control.go_to_clock(time_s)
        else:
            self.control.go_to(time_s)

    def _move(self, move: Callable[[], None]) -> None:
        move()
        self.take_newest()
