"""Times of a watch in words: since it began, and by the clock on the wall."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from monitor.clock_text import clock_text, span_text

__all__ = ["Times", "span_text"]


@dataclass(frozen=True, slots=True)
class Times:
    """Tells times; `start` is the time of day at the beginning."""

    start: datetime

    def at(self, time_s: float) -> str:
        """Both: since the beginning, and the time of day."""
        return f"{clock_text(time_s)} ({self.wall(time_s)})"

    def since(self, time_s: float) -> str:
        """Since the beginning alone."""
        return clock_text(time_s)

    def wall(self, time_s: float) -> str:
        """The time of day, with the day where it is another one."""
        try:
            wall = self.start + timedelta(seconds=time_s)
        except OverflowError:  # the year of a hostile header
            return "time of day unknown"
        return f"{wall:%H:%M}" if wall.date() == self.start.date() else f"{wall:%d %b %H:%M}"
