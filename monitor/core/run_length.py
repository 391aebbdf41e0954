"""Average run length of a CUSUM, computed, and the limit that gives a stated one.

Owns the mathematics from a false-alarm rate to a threshold. Knows nothing of strands. All run lengths count the sample
that signals. Methods: Siegmund's corrected diffusion approximation (*Sequential Analysis*, 1985); a Markov chain (Brook
and Evans 1972) for counted events.
"""

import math
from collections.abc import Callable
from typing import Final

import numpy as np

from monitor.core.assessment import Array

_OVERSHOOT: Final = 1.166  # 2 * 0.583: mean excess over both boundaries of a walk of unit normal steps (Siegmund)
_BIAS_SPREAD: Final = np.linspace(-7.0, 7.0, 113)  # in standard deviations; the tail beyond is 1e-12
_BIAS_SHARES: Final = np.exp(-0.5 * _BIAS_SPREAD**2) / np.exp(-0.5 * _BIAS_SPREAD**2).sum()
_CELLS_PER_EVENT: Final = 40
_CLOSE: Final = 1e-5  # of a limit, relative
_SERIES_UNDER: Final = 1e-3  # where the closed form would subtract nearly equal numbers


def siegmund(drift: Array, limit: float) -> Array:
    """Run length by Siegmund's approximation for unit normal steps of mean `drift` (the shift less the allowance).

    Within about 1 % for allowances near a half; too short for large ones, which makes a limit from it cautious.
    """
    barrier = limit + _OVERSHOOT
    twice = 2.0 * np.asarray(drift) * barrier
    is_small = np.abs(twice) < _SERIES_UNDER
    safe = np.where(is_small, 1.0, twice)
    whole = (np.exp(np.minimum(-safe, 700.0)) + safe - 1.0) * 2.0 / safe**2
    return np.where(is_small, 1.0 - twice / 3.0 + twice**2 / 12.0, whole) * barrier**2


def walk_alarm_rate_per_mm(limit_mm: float, allowance: float, walk: float, bias_sd: float, step_mm: float) -> float:
    """False alarms per mm fed of a ledger CUSUM that sees a random walk about an imperfectly known mean.

    Parameters
    ----------
    limit_mm : float
        Sum at which it signals [mm].
    allowance : float
        Share of feed that may be lost, k.
    walk : float
        Random walk of lost strand [mm per square root of mm fed].
    bias_sd : float
        Standard deviation of the slowly wandering healthy slip about the mean that was learned [share].
    step_mm : float
        Feed between looks [mm].

    Notes
    -----
    In units of one look's standard deviation, `sd = walk * sqrt(step)`, the drift is `(bias - k) * step / sd`. Given
    the bias, the rate is 1 / run length; the rates are averaged over a normal bias.
    """
    sd = walk * math.sqrt(step_mm)
    biases = bias_sd * _BIAS_SPREAD
    rates = 1.0 / (siegmund((biases - allowance) * step_mm / sd, limit_mm / sd) * step_mm)
    return float((rates * _BIAS_SHARES).sum())


def walk_limit_mm(rate_per_mm: float, allowance: float, walk: float, bias_sd: float, step_mm: float) -> float:
    """Smallest limit whose false alarms are no more than `rate_per_mm`; infinity where none under 100 mm is [mm]."""
    return _smallest(
        lambda limit_mm: walk_alarm_rate_per_mm(limit_mm, allowance, walk, bias_sd, step_mm) <= rate_per_mm, 100.0
    )


def diffusion_limit(rate: float, allowance: float, walk: float) -> float:
    """Limit of a CUSUM that is looked at all the time: a random walk `walk` falling by `allowance` per unit.

    The run length of reflected diffusion, `(exp(x) - 1 - x) walk² / (2 allowance²)` with `x = 2 allowance h / walk²`,
    solved for h. Cautious for noise that lasts: over short spans that adds up less than a walk does.
    """
    wanted = 2.0 * allowance**2 / (rate * walk**2)
    x = math.log1p(wanted)
    for _ in range(50):
        x = math.log1p(wanted + x)
    return x * walk**2 / (2.0 * allowance)


def event_run_mm(rate_per_mm: float, allowance_per_mm: float, limit: float) -> float:
    """Average feed until a CUSUM of counted events signals, in control [mm].

    Events come at random at `rate_per_mm`; the sum gains 1 at each, falls by `allowance_per_mm`, and signals when above
    `limit`. The sum is a Markov chain on cells of 1/40 event.
    """
    cells = math.floor(limit * _CELLS_PER_EVENT + 1e-9) + 1
    step_mm = 1.0 / (_CELLS_PER_EVENT * allowance_per_mm)
    chance = -math.expm1(-rate_per_mm * step_mm)
    moves = np.zeros((cells, cells))
    for cell in range(cells):
        moves[cell, max(cell - 1, 0)] += 1.0 - chance
        if (risen := max(cell - 1, 0) + _CELLS_PER_EVENT) < cells:
            moves[cell, risen] += chance
    return float(np.linalg.solve(np.eye(cells) - moves, np.ones(cells))[0] * step_mm)


def _smallest(is_enough: Callable[[float], bool], largest: float) -> float:
    """Smallest number that is enough, by halving; infinity where even the largest is not."""
    if not is_enough(largest):
        return math.inf
    low, high = 0.0, largest
    while high - low > _CLOSE * (1.0 + high):
        middle = (low + high) / 2.0
        low, high = (low, middle) if is_enough(middle) else (middle, high)
    return high
