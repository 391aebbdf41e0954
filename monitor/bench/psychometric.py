"""How likely a strand feeds, by temperature, learned from attempts that fed or skipped.

Owns the curve (a logistic with a small lapse rate, as psychophysics fits thresholds with), the prior, and the posterior
on a grid. Knows nothing of machines, or of which temperature to try next.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import log
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LAPSE: Final = 0.02
"""Chance that an attempt comes out the wrong way for a reason that is not temperature (judgement), each way."""
FEEDS_WITH: Final = 0.95
"""Feeding temperature: where an attempt succeeds at least so often, but for lapses."""
_AT_FEEDING: Final = log(FEEDS_WITH / (1.0 - FEEDS_WITH))
_THRESHOLD_STEP_K: Final = 0.5
_BEYOND_K: Final = 25.0
"""How far beyond the range tested the grid of thresholds reaches."""
_SPREADS_K: Final = tuple(float(spread) for spread in np.geomspace(0.25, 6.0, 17))
_LIKELY_SPREAD_K: Final = 1.2
_SPREAD_LN_SD: Final = 0.85
"""The prior of the spread: log-normal. Judgement: a block's temperature, a strand's diameter and its way through the
drive vary by a kelvin or two; a transition over more than some 15 K would not be called a limit."""


class Trial(NamedTuple):
    """One attempt as the curve sees it."""

    temp_c: float
    has_fed: bool


class Interval(NamedTuple):
    """Low end, median, high end of what is known of a temperature [°C]."""

    low_c: float
    middle_c: float
    high_c: float

    @property
    def width_k(self) -> float:
        """Between the ends [K]."""
        return self.high_c - self.low_c


def chance(temp_c: Array | float, threshold_c: Array | float, spread_k: Array | float) -> Array:
    """Chance that an attempt feeds [-], lapses included.

    Parameters
    ----------
    temp_c : float or array
        Wall of the manifold [°C].
    threshold_c, spread_k : float or array
        Where half of the attempts feed [°C], and the scale of the logistic [K], > 0.
    """
    steep = np.clip((np.asarray(temp_c) - threshold_c) / spread_k, -50.0, 50.0)
    result: Array = LAPSE + (1.0 - 2.0 * LAPSE) / (1.0 + np.exp(-steep))
    return result


def feeding_c(threshold_c: Array | float, spread_k: Array | float) -> Array:
    """Temperature at which an attempt feeds with `FEEDS_WITH` but for lapses [°C]."""
    result: Array = np.asarray(threshold_c) + _AT_FEEDING * np.asarray(spread_k)
    return result


@dataclass(frozen=True, slots=True)
class Posterior:
    """What is known of threshold and spread: weights on a grid, which sum to 1."""

    threshold_c: Array
    spread_k: Array
    weight: Array

    def feeding(self, confidence: float) -> Interval:
        """Interval of the feeding temperature that holds it with `confidence` (0 to 1), equal tails."""
        return _interval(feeding_c(self.threshold_c, self.spread_k), self.weight, confidence)

    def threshold(self, confidence: float) -> Interval:
        """The same of the temperature at which half of the attempts feed."""
        return _interval(self.threshold_c, self.weight, confidence)

    def chance_at(self, temp_c: float) -> float:
        """Chance that an attempt at `temp_c` [°C] feeds, as far as is known."""
        return float(np.sum(chance(temp_c, self.threshold_c, self.spread_k) * self.weight))


def posterior(trials: Sequence[Trial], low_c: float, high_c: float) -> Posterior:
    """Posterior of a curve whose threshold lies about the range from `low_c` to `high_c` [°C].

    Raises
    ------
    ValueError
        If the range is empty.
    """
    if not low_c < high_c:
        raise ValueError(f"low_c {low_c} to high_c {high_c} is no range of temperatures")
    threshold_c, spread_k, prior = _grid(low_c, high_c)
    likelihood = np.array(prior)
    for trial in trials:
        feeds = chance(trial.temp_c, threshold_c, spread_k)
        likelihood *= feeds if trial.has_fed else 1.0 - feeds
    return Posterior(threshold_c, spread_k, likelihood / likelihood.sum())


@lru_cache(maxsize=8)
def _grid(low_c: float, high_c: float) -> tuple[Array, Array, Array]:
    """Thresholds, spreads and prior, flat in the threshold."""
    thresholds_c = np.arange(low_c - _BEYOND_K, high_c + _BEYOND_K + _THRESHOLD_STEP_K / 2.0, _THRESHOLD_STEP_K)
    spreads_k = np.array(_SPREADS_K)
    by_spread = np.exp(-0.5 * (np.log(spreads_k / _LIKELY_SPREAD_K) / _SPREAD_LN_SD) ** 2)
    threshold_c, spread_k = (part.ravel() for part in np.meshgrid(thresholds_c, spreads_k, indexing="ij"))
    prior = np.tile(by_spread, len(thresholds_c))
    for part in (threshold_c, spread_k, prior):
        part.setflags(write=False)
    return threshold_c, spread_k, prior


def _interval(values: Array, weight: Array, confidence: float) -> Interval:
    order = np.argsort(values, kind="stable")
    below = np.cumsum(weight[order])
    tail = (1.0 - confidence) / 2.0
    places = np.searchsorted(below, (tail, 0.5, 1.0 - tail))
    low_c, middle_c, high_c = values[order][np.minimum(places, len(values) - 1)]
    return Interval(float(low_c), float(middle_c), float(high_c))
