"""A wall that follows another set point than it did: how far it would have been from what was recorded.

The rule: the other wall runs to its own set point at the rates at which walls follow (`PlanSettings`), and swings about
it as the recorded wall swung about the recorded set point. While the recorded wall was on its way to a set point that
had just changed, that way is no swing. While its heater was off, the other wall comes to where the recorded one was.
Pure; knows nothing of events.
"""

from typing import Final

from monitor.planning.settings import PlanSettings

_THERE_K: Final = 1.0
_LATE: Final = 2.0
"""A wall that takes so much longer than its rate says is not on its way any more: what is missing is a swing."""


class OtherWall:
    """One wall, told sample by sample what was recorded.

    Parameters
    ----------
    set_c : float
        The other set point [°C].
    from_s : float
        Since when it holds [s].
    settings : PlanSettings
        How fast walls follow.
    """

    def __init__(self, set_c: float, from_s: float, settings: PlanSettings) -> None:
        self._set_c, self._from_s, self._settings = set_c, from_s, settings
        self._then_c: float | None = None  # the recorded set point; 0: off
        self._temp_c: float | None = None
        self._other_c: float | None = None  # where the other wall would be without its swing
        self._time_s = 0.0
        self._on_the_way_until_s = -1.0
        self._is_rising = False

    def shift_k(self, time_s: float, temp_c: float | None, set_c: float | None) -> float:
        """How far the other wall is from the recorded one after a sample [K]; 0 before its time."""
        passed_s = max(0.0, time_s - max(self._time_s, self._from_s))
        self._time_s = max(time_s, self._time_s)
        self._temp_c = self._temp_c if temp_c is None else temp_c
        if self._temp_c is None:
            return 0.0
        self._take_set_point(set_c, self._temp_c)
        middle_c = self._middle_c(self._temp_c)
        if self._other_c is None or time_s < self._from_s:
            self._other_c = middle_c
        else:
            self._other_c = self._followed(self._other_c, self._set_c if self._then_c else middle_c, passed_s)
        return self._other_c - middle_c

    def _take_set_point(self, set_c: float | None, temp_c: float) -> None:
        """Note a set point that changed; without one, the first temperature stands for it."""
        if set_c is None:
            self._then_c = temp_c if self._then_c is None else self._then_c
            return
        if set_c == self._then_c:
            return
        self._then_c, self._is_rising = set_c, set_c > temp_c
        rate_k_s = self._settings.heats_k_s if self._is_rising else self._settings.cools_k_s
        self._on_the_way_until_s = self._time_s + _LATE * abs(set_c - temp_c) / rate_k_s

    def _middle_c(self, temp_c: float) -> float:
        """What the recorded wall swings about: its set point, or itself while it is on its way or off."""
        if not self._then_c:
            return temp_c
        is_there = temp_c >= self._then_c - _THERE_K if self._is_rising else temp_c <= self._then_c + _THERE_K
        if is_there:
            self._on_the_way_until_s = -1.0
        return temp_c if self._time_s <= self._on_the_way_until_s else self._then_c

    def _followed(self, from_c: float, to_c: float, passed_s: float) -> float:
        highest_c = from_c + self._settings.heats_k_s * passed_s
        lowest_c = from_c - self._settings.cools_k_s * passed_s
        return min(max(to_c, lowest_c), highest_c)
