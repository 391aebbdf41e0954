"""A beat in machine time."""

import math


class Every:
    """Says yes once in every stretch of `interval_s`, however far apart the questions come.

    >>> beat = Every(60.0)
    >>> [beat(time_s) for time_s in (0.0, 1.0, 60.0, 61.0, 300.0, 301.0, 360.0)]
    [True, False, True, False, True, False, True]
    """

    def __init__(self, interval_s: float) -> None:
        if not (math.isfinite(interval_s) and interval_s > 0):
            raise ValueError(f"interval_s is {interval_s}; allowed: a finite number above 0")
        self._interval_s = interval_s
        self._due_s = -math.inf

    def __call__(self, time_s: float) -> bool:
        """Whether a beat has come since it was last told."""
        if time_s < self._due_s:
            return False
        self._due_s = (math.floor(time_s / self._interval_s) + 1) * self._interval_s
        return True
