"""What an advice says: plain frozen data for screens, recordings and alert texts. Decides nothing."""

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple


class AdviceKind(StrEnum):
    """What is advised, or advised against."""

    ADVANCE = "advance"
    WITHDRAW = "withdraw"
    SET_POINT = "set point"
    KEEP_MOVING = "keep moving"
    PAUSE = "pause"


class Figure(NamedTuple):
    """A number behind an advice; its name ends in its unit. Infinite where nothing runs out."""

    name: str
    value: float


@dataclass(frozen=True, slots=True)
class Advice:
    """One thing that the owner may do, or had better not.

    Parameters
    ----------
    kind : AdviceKind
        What it is about.
    input : int or None
        The input concerned; None for the machine as a whole.
    is_advised : bool
        False when the sentence tells not to do it, or that it would gain nothing.
    text, reason, caution : str
        What to do; why; what to mind.
    figures : tuple of Figure
        The numbers that it rests on.
    lines : tuple of str
        Blocks that do it, where an open standard has words for it; for the owner to type, never sent.
    lines_note : str
        What differs from machine to machine; empty without lines.
    """

    kind: AdviceKind
    input: int | None
    is_advised: bool
    text: str
    reason: str
    figures: tuple[Figure, ...]
    caution: str
    lines: tuple[str, ...] = ()
    lines_note: str = ""

    def figure(self, name: str) -> float:
        """One of the figures; KeyError when there is none of that name."""
        return dict(self.figures)[name]
