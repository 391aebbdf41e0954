"""Is the line alive, and does it carry text? Turns what arrives, and what does not, into plain words.

Pure: time comes with each call. Knows the bytes' look, not their meaning.
"""

from collections import Counter
from typing import Final

from connectors.clean_text import clean_text
from connectors.telemetry import LinkChange, Malformed

GARBAGE_SHARE: Final = 0.2
GARBAGE_WINDOW_S: Final = 5.0
FEWEST_BYTES: Final = 20
_TEXT_BYTES: Final = bytes([*range(0x20, 0x7F), *b"\t\r\n"])
_COMMON_SPEEDS: Final = (115200, 250000)
_COUNT_BEGINS: Final = " (and "
_COUNT_ENDS: Final = " more since the last report)"


class LinkHealth:
    """Watches for silence and for a line that carries mostly garbage.

    Parameters
    ----------
    silent_after_s : float
        Time without a readable line [s] after which the link is called silent.
    baud : int
        Speed of the port, for the message.
    advice : str
        What to do about silence; ends the message.
    """

    def __init__(self, silent_after_s: float, baud: int, advice: str) -> None:
        self._silent_after_s = silent_after_s
        self._reasons = {
            "silent": f"nothing readable received for {silent_after_s:g} s: {advice}",
            "garbage": f"only garbage: is the speed {baud} baud right? Others in use: "
            + ", ".join(str(speed) for speed in _COMMON_SPEEDS if speed != baud),
        }
        self._trouble: str | None = None
        self._last_readable_s = 0.0
        self._window_since_s = 0.0
        self._bytes = self._bad_bytes = 0

    def restart(self, time_s: float) -> None:
        """The port was opened at `time_s`: judge it anew."""
        self._trouble = None
        self._last_readable_s = time_s
        self._bytes = self._bad_bytes = 0

    def take_bytes(self, data: bytes, time_s: float) -> None:
        """Bytes arrived."""
        if not self._bytes:
            self._window_since_s = time_s
        self._bytes += len(data)
        self._bad_bytes += len(data.translate(None, _TEXT_BYTES))

    def take_readable(self, time_s: float) -> None:
        """A line arrived that could be read, whether or not it told anything."""
        self._last_readable_s = time_s

    def check(self, time_s: float) -> list[LinkChange]:
        """What changed, if anything, as seen at `time_s` [s]."""
        before, self._trouble = self._trouble, self._find_trouble(time_s)
        if self._trouble == before:
            return []
        if self._trouble is None:
            return [LinkChange(time_s, available=True, reason="data arrives again")]
        return [LinkChange(time_s, available=False, reason=self._reasons[self._trouble])]

    def _find_trouble(self, time_s: float) -> str | None:
        if self._bytes and time_s - self._window_since_s >= GARBAGE_WINDOW_S:
            is_garbage = self._bytes >= FEWEST_BYTES and self._bad_bytes > GARBAGE_SHARE * self._bytes
            self._bytes = self._bad_bytes = 0
            if is_garbage:
                return "garbage"
        elif self._trouble == "garbage":
            return "garbage"
        return "silent" if time_s - self._last_readable_s > self._silent_after_s else None


def without_count(reason: str) -> str:
    """Give the reason of a `Malformed` without the number of others held back that `Complaints` may have added.

    >>> without_count("no number (and 4 more since the last report)")
    'no number'
    """
    return reason.rpartition(_COUNT_BEGINS)[0] if reason.endswith(_COUNT_ENDS) else reason


class Complaints:
    """Reports unreadable input without a flood: at most one event per second, the others are counted into the next."""

    LEAST_SPACING_S: Final = 1.0

    def __init__(self) -> None:
        self.counts: Counter[str] = Counter()
        self._next_s = float("-inf")
        self._held = 0

    def take(self, kind: str, reason: str, excerpt: bytes, time_s: float, *, is_grave: bool = False) -> list[Malformed]:
        """Count input that could not be used under `kind`; report it, if grave or if none was reported just now."""
        self.counts[kind] += 1
        if time_s < self._next_s and not is_grave:
            self._held += 1
            return []
        more = f"{_COUNT_BEGINS}{self._held}{_COUNT_ENDS}" if self._held else ""
        self._next_s, self._held = time_s + self.LEAST_SPACING_S, 0
        return [Malformed(time_s, reason + more, clean_text(excerpt.decode("latin-1"), limit=80))]
