"""What a screen may know of a replay, and what it may ask of it: place, pace, marks, jumps.

Frozen data and a protocol. Knows nothing of files, engines or screens.
"""

from dataclasses import dataclass
from enum import Enum
from typing import Final, NamedTuple, Protocol

from monitor.client import WatchClient
from monitor.core.alert_types import Priority

FASTEST: Final = float("inf")
"""As fast as it goes."""

SPEEDS: Final = (1.0, 4.0, 15.0, 60.0, 240.0, 960.0, FASTEST)
"""Paces to choose from [machine seconds per second]."""


class MarkKind(Enum):
    """What a mark on the time bar stands for; a higher value hides a lower one in the same cell."""

    CAUTION = 1
    WARN_DOSE = 2
    WARNING = 3
    LIMIT_DOSE = 4
    ALARM = 5

    @property
    def priority(self) -> Priority | None:
        """Priority of the alert; None where a dose passed a mark."""
        return None if self in {MarkKind.WARN_DOSE, MarkKind.LIMIT_DOSE} else Priority[self.name]


class Mark(NamedTuple):
    """Something that happened, and how many events had been told by then: the exact place to jump to."""

    time_s: float
    place: int
    kind: MarkKind
    text: str


class Gap(NamedTuple):
    """A time without data that counted [s]."""

    begin_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class ReplayView:
    """One moment of a replay.

    Parameters
    ----------
    time_s, begin_s, end_s : float
        Where it stands, and from where to where it is known so far [s].
    clock, begin_clock, end_clock : str
        The same as times of day then.
    is_playing, speed
        Whether it moves by itself, and how fast; `FASTEST` for as fast as it goes.
    is_read : bool
        Whether all of the recording was read, so that `end_s` is its end.
    end : str
        How the recording ends, in words.
    marks, gaps
        In order of time.
    here, ahead : Mark or None
        The mark at this very place, and the next alert.
    waits_for : str
        What is to be shown once it has been read; empty when nothing is.
    told : str
        Answer to the last key, where it cannot be seen; empty when there is none.
    """

    time_s: float
    begin_s: float
    end_s: float
    clock: str
    begin_clock: str
    end_clock: str
    is_playing: bool
    speed: float
    is_read: bool
    end: str
    marks: tuple[Mark, ...] = ()
    gaps: tuple[Gap, ...] = ()
    here: Mark | None = None
    ahead: Mark | None = None
    waits_for: str = ""
    told: str = ""


class ReplayControl(WatchClient, Protocol):
    """A replay, seen from a screen: a watch of the past that can be moved to and fro."""

    @property
    def replay(self) -> ReplayView:
        """Where it stands."""
        ...

    @property
    def inputs(self) -> tuple[int, ...]:
        """Inputs with a strand."""
        ...

    def play_or_pause(self) -> None:
        """Let it move, or stop it."""
        ...

    def faster(self, steps: int) -> None:
        """Take the next higher of `SPEEDS`, or the next lower for -1."""
        ...

    def step(self, samples: int) -> None:
        """Pause, and go to the next sample, or for -1 to the one before."""
        ...

    def skip(self, by_s: float) -> None:
        """Go on or back by so much [s]."""
        ...

    def go_to(self, time_s: float) -> None:
        """Go to a time since the recording began [s]."""
        ...

    def go_to_clock(self, of_day_s: int) -> None:
        """Go to the next moment with this time of day [s since midnight]; from the beginning when none is left."""
        ...

    def go_to_alert(self, step: int) -> None:
        """Go to the next alert, or for -1 to the one before."""
        ...

    def go_to_dose(self) -> None:
        """Go to where a dose passes its warn dose or limit next; after the last, to the first."""
        ...

    def go_to_feed(self, number: int) -> None:
        """Go back to where this input was fed last."""
        ...

    def tell(self, text: str) -> None:
        """Show an answer to the owner."""
        ...
