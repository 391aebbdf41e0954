"""Which values are shown over which time: what zooming and panning do to it. Pure."""

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

SPANS_S: Final = (300.0, 900.0, 1800.0, 3600.0, 7200.0, 14_400.0, 28_800.0, 43_200.0, 86_400.0, 259_200.0)
"""Lengths of time to choose from [s]."""

_FIRST_SPAN_S: Final = 3600.0


class Group(StrEnum):
    """Values that are shown together."""

    WALLS = "walls"
    DOSES = "doses"
    TIME_LEFT = "time left"
    SOFT_FRONTS = "soft fronts"
    FEEDS = "feeds"
    ONE = "one value"  # chosen by finding it


_IN_TURN: Final = (Group.WALLS, Group.DOSES, Group.TIME_LEFT, Group.SOFT_FRONTS, Group.FEEDS)


@dataclass(frozen=True, slots=True)
class TrendChoice:
    """What of the past is shown.

    Parameters
    ----------
    group : Group
        The values.
    channel : str
        Key of the one value, for `Group.ONE`.
    span_s : float or None
        How much time [s]; None for all there is.
    end_s : float or None
        Up to when [s of machine time]; None for now, moving on with it.
    marked : int
        Which of the values of the group is marked, so that it is shown where not all are.
    """

    group: Group = Group.WALLS
    channel: str = ""
    span_s: float | None = _FIRST_SPAN_S
    end_s: float | None = None
    marked: int = 0

    def of(self, channel: str) -> "TrendChoice":
        """The same time, one value alone."""
        return replace(self, group=Group.ONE, channel=channel)

    def other(self, step: int) -> "TrendChoice":
        """The same time, the next group of values."""
        at = _IN_TURN.index(self.group) if self.group in _IN_TURN else -1 if step > 0 else 0
        return replace(self, group=_IN_TURN[(at + step) % len(_IN_TURN)], channel="", marked=0)

    def within(self, group: Group, marked: int) -> "TrendChoice":
        """The same time, a group with this one of its values marked."""
        return replace(self, group=group, channel="", marked=marked)

    def beside(self, step: int, values: int) -> "TrendChoice":
        """Another of so many values marked."""
        return replace(self, marked=max(0, min(self.marked + step, values - 1)))

    def zoomed(self, step: int, whole_s: float) -> "TrendChoice":
        """A longer time for +1, a shorter one for -1, ending where it ended; `whole_s` is all there is [s]."""
        now_s = whole_s if self.span_s is None else self.span_s
        longer = [span_s for span_s in SPANS_S if span_s > now_s]
        shorter = [span_s for span_s in SPANS_S if span_s < now_s]
        if step > 0:
            return replace(self, span_s=longer[0] if longer and now_s < whole_s else self.span_s)
        return replace(self, span_s=shorter[-1] if shorter else self.span_s)

    def panned(self, share: float, begin_s: float, now_s: float) -> "TrendChoice":
        """Moved by a share of the time shown, within what there is: from `begin_s` to `now_s` [s]."""
        if self.span_s is None:
            return self
        end_s = (now_s if self.end_s is None else self.end_s) + share * self.span_s
        end_s = max(end_s, begin_s + self.span_s)
        return replace(self, end_s=None if end_s >= now_s else end_s)

    def whole(self) -> "TrendChoice":
        """All there is, up to now."""
        return replace(self, span_s=None, end_s=None)

    def between(self, begin_s: float, now_s: float) -> tuple[float, float]:
        """From when to when is shown [s], of what there is from `begin_s` to `now_s`."""
        end_s = now_s if self.end_s is None else min(self.end_s, now_s)
        return (begin_s if self.span_s is None else end_s - self.span_s), end_s


FIRST_TREND: Final = TrendChoice()
"""The walls over the last hour."""
