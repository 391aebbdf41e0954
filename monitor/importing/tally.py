"""What a reader could not understand, by reason, with the first line of each. Bounded; knows no file."""

from dataclasses import dataclass
from typing import Final

from connectors.clean_text import clean_text

MOST_REASONS: Final = 20
_EXCERPT: Final = 60
_OTHER: Final = "other reasons"


@dataclass(frozen=True, slots=True)
class Trouble:
    """One reason: how many lines, the first of them, and how that begins."""

    count: int
    first_line: int
    excerpt: str


class Tally:
    """Counts lines that could not be used."""

    def __init__(self) -> None:
        self.troubles: dict[str, Trouble] = {}

    def take(self, reason: str, line: int, excerpt: str | bytes) -> None:
        """Count one; beyond some reasons they are counted together."""
        reason = clean_text(reason)
        if reason not in self.troubles and len(self.troubles) >= MOST_REASONS:
            reason = _OTHER
        known = self.troubles.get(reason)
        if known is None:
            self.troubles[reason] = Trouble(1, line, clean_text(excerpt[: 4 * _EXCERPT], _EXCERPT))
        else:
            self.troubles[reason] = Trouble(known.count + 1, known.first_line, known.excerpt)

    @property
    def total(self) -> int:
        """All lines counted."""
        return sum(trouble.count for trouble in self.troubles.values())
