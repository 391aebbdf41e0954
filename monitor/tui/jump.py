"""Where to jump in a replay, typed at the foot of the screen: a time, or an input.

Pure. Only digits count, so that nothing has to be found on the keyboard at dawn; anything else changes nothing.
"""

from dataclasses import dataclass, replace
from enum import Enum, auto
from typing import Final

_ONE_DIGIT: Final = 9
_MOST_DIGITS: Final = 6
_KEYS: Final = {"enter", "backspace", ":", "t"}


class Aim(Enum):
    """What is typed."""

    TIME_OF_DAY = auto()
    TIME_SINCE_BEGIN = auto()
    INPUT = auto()


@dataclass(frozen=True, slots=True)
class Jump:
    """A jump as far as it was typed.

    Parameters
    ----------
    aim : Aim
        What is typed.
    inputs : tuple of int
        The inputs to choose from.
    digits : str
        What was typed so far.
    is_done : bool
        Whether nothing more is to come.
    """

    aim: Aim
    inputs: tuple[int, ...] = ()
    digits: str = ""
    is_done: bool = False

    @property
    def text(self) -> str:
        """What to ask."""
        if self.aim is Aim.INPUT:
            return f" last feed of input {self.digits}_   there are {', '.join(map(str, self.inputs))} "
        if self.aim is Aim.TIME_OF_DAY:
            return f" time of day {self._shown}   Enter: go   t: time since the start instead "
        return f" time since the start {self._shown}   Enter: go   t: time of day instead "

    def typed(self, key: str) -> "Jump | None":
        """The jump after a key; None when the key means that the owner gives up."""
        if len(key) == 1 and key.isdigit():
            return self._with(key)
        if key not in _KEYS or (key in "t" and self.aim is Aim.INPUT):
            return None
        if key == "t":
            other = {Aim.TIME_OF_DAY: Aim.TIME_SINCE_BEGIN, Aim.TIME_SINCE_BEGIN: Aim.TIME_OF_DAY}
            return replace(self, aim=other[self.aim])
        if key == ":" and len(self.digits) % 2:
            return replace(self, digits=f"{self.digits[:-1]}0{self.digits[-1]}")
        if key == "backspace":
            return replace(self, digits=self.digits[:-1])
        return replace(self, is_done=bool(self.digits)) if key == "enter" else self

    @property
    def number(self) -> int:
        """The input that was typed."""
        return int(self.digits or "0")

    @property
    def time_s(self) -> int | None:
        """The time that was typed, in whole seconds; None for one that does not exist.

        >>> [Jump(Aim.TIME_OF_DAY, digits=typed).time_s for typed in ("7", "2314", "070509", "2460")]
        [25200, 83640, 25509, None]
        """
        hours, minutes, seconds = map(int, self._parts)
        is_day = self.aim is Aim.TIME_OF_DAY
        if minutes >= 60 or seconds >= 60 or (is_day and hours >= 24):  # noqa: PLR2004 -- clocks
            return None
        return hours * 3600 + minutes * 60 + seconds

    def _with(self, digit: str) -> "Jump":
        if len(self.digits) >= _MOST_DIGITS:
            return self
        whole = replace(self, digits=self.digits + digit)
        return (
            replace(whole, is_done=True)
            if self.aim is Aim.INPUT and max(self.inputs, default=0) <= _ONE_DIGIT
            else whole
        )

    @property
    def _parts(self) -> tuple[str, str, str]:
        """Hours, minutes and seconds, two digits each from the left; what is not typed yet is nought."""
        return self.digits[:2] or "0", self.digits[2:4].ljust(2, "0"), self.digits[4:].ljust(2, "0")

    @property
    def _shown(self) -> str:
        if not self.digits:
            return "hhmm or hhmmss _"
        typed = (self.digits[:2], self.digits[2:4], self.digits[4:])
        return ":".join(filter(None, typed)) + "_"
