"""Exponentially weighted moving average: a sequential test to hold the suite of all such tests against.

Owns the recursion of Roberts (1959) with exact limits. A value may carry a weight (see `monitor.core.cusum`): the
memory then fades per unit of weight, so that splitting a value in two equal parts changes nothing. Same interface as
`tabular_cusum`; the watch itself does not use it.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple


class EwmaState(NamedTuple):
    """Average, and the share of the starting value still in it."""

    average: float
    remembered: float = 1.0


@dataclass(frozen=True, slots=True)
class Ewma:
    """Signals when the average leaves `mean ± width * sd` of its own spread.

    Attributes
    ----------
    mean, sd : float
        Mean and standard deviation of values in control.
    gain : float
        Lambda, 0 < gain <= 1: share of a new value of weight 1.
    width : float
        L: limits in standard deviations of the average.
    """

    mean: float
    sd: float
    gain: float
    width: float

    def initial(self) -> EwmaState:
        """State before the first value."""
        return EwmaState(self.mean)

    def advance(self, state: EwmaState, value: float, weight: float = 1.0) -> EwmaState:
        """State after `value`, the sum over `weight` units."""
        keep = (1.0 - self.gain) ** weight
        return EwmaState(keep * state.average + (1.0 - keep) * value / weight, keep * state.remembered)

    def reach(self, state: EwmaState) -> float:
        """Distance of the limits from the mean at this number of values."""
        return self.width * self.sd * math.sqrt(self.gain / (2.0 - self.gain) * (1.0 - state.remembered**2))

    def is_signal(self, state: EwmaState) -> bool:
        """Whether the average is outside its limits."""
        return abs(state.average - self.mean) > self.reach(state)
