"""How long nobody watched: from the pairs of clocks in a recording to the time at which a resumed watch goes on.

Pure. Owns what is made of a clock that was set meanwhile. Knows nothing of files.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, NamedTuple

from connectors.recording import Conclusion

_KINDS = frozenset({"clock", "resumed"})


class ClockPair(NamedTuple):
    """Time of day at a time of the recording [s]."""

    time_s: float
    wall: datetime

    def wall_at(self, time_s: float) -> datetime:
        """Time of day at another time, as if nobody had set the clock since."""
        return self.wall + timedelta(seconds=time_s - self.time_s)


@dataclass(frozen=True, slots=True)
class Unwatched:
    """What lies between the last line of a recording and now.

    Parameters
    ----------
    last_s : float
        Time of the last line [s].
    gap_s : float
        How long nobody watched, never negative [s]; 0 where nobody can tell.
    is_known : bool
        False when the time of day was set back meanwhile, so that the gap may be of any length.
    """

    last_s: float
    gap_s: float
    is_known: bool

    @property
    def time_s(self) -> float:
        """Time of the recording at which the watch goes on [s]."""
        return self.last_s + self.gap_s


def unwatched(pair: ClockPair, last_s: float, now: datetime) -> Unwatched:
    """What passed since time `last_s` of a recording, by its newest pair of clocks.

    >>> from datetime import UTC
    >>> pair = ClockPair(60.0, datetime(2026, 11, 25, 22, 0, tzinfo=UTC))
    >>> unwatched(pair, 90.0, datetime(2026, 11, 25, 22, 3, tzinfo=UTC)).gap_s
    150.0
    >>> unwatched(pair, 90.0, datetime(2026, 11, 25, 21, 0, tzinfo=UTC))
    Unwatched(last_s=90.0, gap_s=0.0, is_known=False)
    """
    gap_s = age_s(pair, last_s, now)
    return Unwatched(last_s, max(0.0, gap_s), is_known=gap_s >= 0.0)


def clock_pair(conclusion: Conclusion) -> ClockPair | None:
    """The pair that a recorded conclusion holds; None where it holds none."""
    wall = _time_of_day(conclusion.data.get("wall")) if conclusion.kind in _KINDS else None
    return None if wall is None else ClockPair(conclusion.time_s, wall)


def _time_of_day(text: Any) -> datetime | None:  # noqa: ANN401 -- any decoded JSON
    try:
        wall = datetime.fromisoformat(text)
    except (TypeError, ValueError):
        return None
    return None if wall.tzinfo is None else wall


def age_s(pair: ClockPair, last_s: float, now: datetime) -> float:
    """How long ago time `last_s` of a recording was; negative when the time of day was set back since [s]."""
    return (now - pair.wall_at(last_s)).total_seconds()
