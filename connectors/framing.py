"""Bytes from a serial line -> whole lines. Bounded, linear in the bytes received, independent of how they were cut.

Owns the line endings (LF, CR, CRLF, LFCR) and the limits on length and age of a line. Knows nothing of what it says.
"""

from dataclasses import dataclass
from typing import Final

LONGEST_LINE: Final = 64 * 1024
"""Longest line that is kept [byte]; JSON sent over a serial line may be long."""

OLDEST_PART_S: Final = 5.0
"""A line that is still unfinished after this time [s] is given up: the sender stopped in the middle of it."""

_CR_TO_LF: Final = bytes.maketrans(b"\r", b"\n")
_EXCERPT: Final = 80


@dataclass(frozen=True, slots=True)
class Dropped:
    """A line that was given up whole, with its reason and its beginning."""

    reason: str
    excerpt: bytes


class Framer:
    """Collects bytes and hands out whole lines without their line ending; empty lines mean nothing and vanish.

    CR and LF each end a line, so the pairs CRLF and LFCR only add an empty one. Once a line is dropped, everything up
    to its end is dropped with it: the tail of a line could look like another line.
    """

    def __init__(self, longest: int = LONGEST_LINE, oldest_part_s: float = OLDEST_PART_S) -> None:
        self._longest = longest
        self._oldest_part_s = oldest_part_s
        self._part = bytearray()
        self._part_since_s = 0.0
        self._is_skipping = False

    def feed(self, data: bytes, time_s: float) -> list[bytes | Dropped]:
        """Take bytes received at `time_s` [s]; return the lines they end, in order."""
        found: list[bytes | Dropped] = self.expire(time_s)
        *ended, rest = data.translate(_CR_TO_LF).split(b"\n")
        for piece in ended:
            found += self._add(piece, time_s)
            found += self._end()
        found += self._add(rest, time_s)
        return found

    def expire(self, time_s: float) -> list[bytes | Dropped]:
        """Give up a part of a line that has waited too long for its end."""
        if not self._part or time_s - self._part_since_s <= self._oldest_part_s:
            return []
        return [self._drop(f"line not finished within {self._oldest_part_s:g} s")]

    def clear(self) -> None:
        """Forget an unfinished line: the next byte begins a new one."""
        self._part.clear()
        self._is_skipping = False

    def _add(self, piece: bytes, time_s: float) -> list[Dropped]:
        if self._is_skipping or not piece:
            return []
        if not self._part:
            self._part_since_s = time_s
        if len(self._part) + len(piece) <= self._longest:
            self._part += piece
            return []
        self._part += piece[:_EXCERPT]
        return [self._drop(f"line longer than {self._longest} bytes")]

    def _end(self) -> list[bytes]:
        line = bytes(self._part)
        self.clear()
        return [line] if line else []

    def _drop(self, reason: str) -> Dropped:
        dropped = Dropped(reason, bytes(self._part[:_EXCERPT]))
        self._part.clear()
        self._is_skipping = True
        return dropped
