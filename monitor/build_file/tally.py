"""Counting what was not understood or looked odd: how often, and where first. Owns the bound on what is remembered."""

from dataclasses import dataclass
from typing import Final

from connectors.clean_text import clean_text

MOST_KINDS: Final = 500
_REST: Final = "others"
_LONGEST: Final = 120


@dataclass(frozen=True, slots=True)
class Counted:
    """Something that occurred: what, how often, and on which line first (from 1; 0 when no line is meant)."""

    what: str
    count: int
    first_line: int


class Tally:
    """Counts by kind, in the order of first occurrence; after `MOST_KINDS` kinds all new ones are counted as one."""

    def __init__(self) -> None:
        self._seen: dict[str, list[int]] = {}

    def add(self, what: str, line: int, count: int = 1) -> None:
        """Count something on a line (from 1)."""
        entry = self._seen.get(what)
        if entry is None:
            name = clean_text(what, _LONGEST) if len(self._seen) < MOST_KINDS else _REST
            entry = self._seen.setdefault(name, [0, line])
        entry[0] += count
        entry[1] = min(entry[1], line)

    def all(self) -> tuple[Counted, ...]:
        """Everything counted, the most frequent first."""
        rows = (Counted(what, count, line) for what, (count, line) in self._seen.items())
        return tuple(sorted(rows, key=lambda row: (-row.count, row.first_line)))
