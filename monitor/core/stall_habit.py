"""What a strand was used to while it fed well: its manifold's temperature, and how long it stood hot before a turn.

What it has borne before explains no fault. Knows nothing of alarms or patterns.
"""

from typing import Final, NamedTuple

_USUAL_MM: Final = 600.0  # of feed over which the usual temperature follows
_FED_WELL_MM: Final = 30.0  # after a stand, and the stand did no harm


class Habit(NamedTuple):
    """Learned from healthy feed alone."""

    manifold_c: float | None = None  # mean
    idle_s: float = 0.0  # longest hot stand after which it fed well


def learned(habit: Habit, fed_mm: float, manifold_c: float | None, fed_in_turn_mm: float, hot_idle_s: float) -> Habit:
    """Habit after one more step of healthy feed.

    Parameters
    ----------
    fed_mm : float
        Feed of the step [mm].
    manifold_c : float or None
        Wall at the merge point [°C].
    fed_in_turn_mm : float
        Feed since the strand was taken up [mm].
    hot_idle_s : float
        How long it had stood hot before that [s].
    """
    idle_s = habit.idle_s
    if fed_in_turn_mm >= _FED_WELL_MM and hot_idle_s > idle_s:
        idle_s = hot_idle_s
    usual_c = habit.manifold_c
    if manifold_c is not None:
        share = min(1.0, fed_mm / _USUAL_MM)
        usual_c = manifold_c if usual_c is None else usual_c + share * (manifold_c - usual_c)
    return Habit(usual_c, idle_s)
