"""Did every message come, and is it still the same run of the machine? Judged by its numbers and its own clock.

Pure. The machine's clock serves only this: the time of every event is the time of receipt.
"""

from dataclasses import dataclass
from typing import Final, Literal

CLOCK_SLACK_S: Final = 1.0
"""A clock that goes back by less [s] was set right, not restarted."""

LATE_IN_A_ROW: Final = 3
"""So many numbers in a row below the last one: the machine began to count anew."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What to do with a message: take it; drop it (it came before); or ask anew, because something was lost.

    `restarted` says in words that the machine began anew; feed then counts from a new zero.
    """

    action: Literal["take", "drop", "lost"]
    reason: str = ""
    restarted: str | None = None


class MessageOrder:
    """Judges message after message of one machine, over all connections."""

    def __init__(self) -> None:
        self._number: int | None = None
        self._clock_s: float | None = None
        self._late = 0

    def connect_anew(self) -> None:
        """Numbers begin anew with a connection; the machine's clock goes on."""
        self._number, self._late = None, 0

    def judge(self, number: int | None, clock_s: float | None, *, is_full: bool) -> Verdict:
        """Judge a message by its number and its clock [s]; None where it carries none."""
        restarted = self._clock_verdict(clock_s)
        if restarted is None:
            return self._number_verdict(number, is_full=is_full)
        self._number, self._late = number, 0
        if is_full:
            return Verdict("take", restarted=restarted)
        return Verdict("lost", f"the machine restarted ({restarted})", restarted=restarted)

    def _clock_verdict(self, clock_s: float | None) -> str | None:
        before, self._clock_s = self._clock_s, self._clock_s if clock_s is None else clock_s
        if before is None or clock_s is None or clock_s >= before - CLOCK_SLACK_S:
            return None
        return f"its clock went back from {before:.0f} s to {clock_s:.0f} s"

    def _number_verdict(self, number: int | None, *, is_full: bool) -> Verdict:
        last = self._number
        if number is None or last is None:
            self._number = number if number is not None else last
            return Verdict("take")
        if number <= last:
            self._late += 1
            if self._late < LATE_IN_A_ROW:
                return Verdict("drop")
            return Verdict("lost", f"the numbers of messages went back from {last} to {number}")
        self._number, self._late = number, 0
        if number > last + 1 and not is_full:
            return Verdict("lost", f"{_missing(last, number)} never came")
        return Verdict("take")


def _missing(last: int, number: int) -> str:
    first, final = last + 1, number - 1
    return f"message {first}" if first == final else f"messages {first} to {final}"
