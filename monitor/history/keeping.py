"""Feeds a history from the steps of a watch, as often as is worth it.

Owns the spacing. Computes an assessment only when one is due. Knows nothing of where steps come from.
"""

from typing import Final

from monitor.every import Every
from monitor.history.memory import History
from monitor.step import Step

EVERY_S: Final = 4.0
"""Spacing of what is remembered of a live watch [s]: the field moves in steps of so long."""

MOST_PER_S: Final = 4.0
"""So many moments are remembered in a second of a night that is faster than life: each costs an assessment [1/s]."""


def spacing_at(speed: float) -> float:
    """Spacing of what is remembered at a pace [s of machine time].

    >>> [spacing_at(speed) for speed in (1.0, 60.0, 960.0)]
    [4.0, 15.0, 240.0]
    """
    return max(EVERY_S, speed / MOST_PER_S)


class Keeper:
    """Looks on at a watch.

    Parameters
    ----------
    history : History
        What is fed.
    every_s : float
        Spacing [s of machine time].
    """

    def __init__(self, history: History, every_s: float = EVERY_S) -> None:
        self._history, self._due = history, Every(every_s)

    def take(self, step: Step) -> None:
        """Look at a step."""
        if self._due(step.event.time_s):
            self._history.take(step.assessment)
