"""Which reports that were not understood are told to the owner: each reason once, and never a flood of them.

Owns the choice. Knows nothing of where the words go.
"""

import math
from typing import Final

from connectors.link_health import without_count
from connectors.telemetry import Malformed
from monitor.clock_text import clock_text

LEAST_SPACING_S: Final = 60.0
"""Machine time between two of the lines [s]."""
MOST_LINES: Final = 10


class NotUnderstood:
    """Tells the first report of each reason, at most one a minute and ten in all.

    A reason that comes too soon after another is told when it comes again.
    """

    def __init__(self) -> None:
        self._told: set[str] = set()
        self._next_s = -math.inf

    def take(self, event: Malformed) -> str:
        """Give the line to tell for a report that was not understood; empty when there is none."""
        reason = without_count(event.reason)
        if reason in self._told or event.time_s < self._next_s or len(self._told) == MOST_LINES:
            return ""
        self._told.add(reason)
        self._next_s = event.time_s + LEAST_SPACING_S
        last = " (further reasons are not told, only counted)" if len(self._told) == MOST_LINES else ""
        excerpt = f": {event.excerpt}" if event.excerpt else ""
        return f"{clock_text(event.time_s)}  not understood: {reason}{excerpt}{last}"
