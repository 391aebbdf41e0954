"""What the lesson says and asks: lines for a terminal of 80 columns, and the owner's answers.

Owns the wrapping and the waiting for an answer. Knows nothing of what is said.
"""

from dataclasses import dataclass
from textwrap import wrap
from typing import Final

from connectors.telemetry import Event

WIDTH: Final = 78
_TYPED: Final = "      "


@dataclass(frozen=True, slots=True)
class Answer:
    """A line the owner has typed, in small letters and without blanks around it."""

    text: str


Heard = Event | Answer


class Talk:
    """Lines that wait to be shown."""

    def __init__(self) -> None:
        self.asks: tuple[str, ...] = ()
        """Answers that are waited for at the moment; empty while nothing is asked."""
        self._lines: list[str] = []

    def say(self, text: str, indent: str = "") -> None:
        """Say a sentence or more."""
        self._lines += wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False)

    def head(self, text: str) -> None:
        """Begin a new part."""
        self._lines.append("")
        self.say(text)

    def type_this(self, lines: tuple[str, ...]) -> None:
        """Show lines for the owner to type at the machine."""
        self._lines += [f"{_TYPED}{line}" for line in lines]

    def taken(self) -> list[str]:
        """What was said since this was last asked for."""
        lines, self._lines = self._lines, []
        return lines
