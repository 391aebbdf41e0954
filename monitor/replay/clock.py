"""Time of day in a recording: its start, and the pairs of machine time and time of day written along the way.

Pure. The two drift apart when the clock was set or the computer slept, and where a watch was gone on with.
"""

from bisect import bisect_right
from datetime import datetime, timedelta
from typing import Final

from connectors.recording import Conclusion

_SAME_S: Final = 1.0
_DAY_S: Final = 86_400
_TOLD_IN: Final = frozenset({"clock", "resumed"})


class RecordedClock:
    """Tells the time of day then, in the time zone of the recording's start.

    Where most lines disagree with the machine time, the recording was made faster than life, as simulated ones are:
    then the machine time counts from the start.
    """

    def __init__(self, start: datetime) -> None:
        self._times_s, self._zero = [0.0], [start]
        self._start, self._lines = start, 0

    def take(self, conclusion: Conclusion) -> None:
        """Look at a line; only those that tell a time of day count."""
        if conclusion.kind not in _TOLD_IN:
            return
        try:
            wall = datetime.fromisoformat(str(conclusion.data.get("wall")))
            zero = wall.astimezone(self._start.tzinfo) - timedelta(seconds=conclusion.time_s)
        except (ValueError, OverflowError):
            return
        self._lines += 1
        if wall.tzinfo is not None and abs((zero - self._zero[-1]).total_seconds()) > _SAME_S:
            self._times_s.append(max(conclusion.time_s, self._times_s[-1]))
            self._zero.append(zero)

    def at(self, time_s: float) -> datetime:
        """Time of day at a machine time [s]."""
        place = max(0, bisect_right(self._times_s, time_s) - 1)
        zero = self._start if self._is_faster_than_life else self._zero[place]
        try:
            return zero + timedelta(seconds=time_s)
        except OverflowError:
            return zero

    def next_time_s(self, of_day_s: int, after_s: float) -> float:
        """Machine time of the next moment with this time of day [s since midnight, s]."""
        now = self.at(after_s)
        now_s = now.hour * 3600 + now.minute * 60 + now.second + now.microsecond * 1e-6
        return after_s + (of_day_s - now_s) % _DAY_S

    @property
    def _is_faster_than_life(self) -> bool:
        return len(self._zero) - 1 > self._lines / 2
