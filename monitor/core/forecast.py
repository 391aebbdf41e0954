"""Time left until a dose is reached if nothing changes: closed forms, because a standing strand keeps its temperature.

A standing parcel at rate r reaches dose D after (D - dose) / r. A moving one must reach it before it passes the merge
point; the hottest rate still ahead of it is assumed for the whole way, so the answer errs to the early side.
"""

import math

import numpy as np

from monitor.core.assessment import Array

_NO_RATE = 1e-12  # minutes of dose per minute: some 100,000 years to a limit


def standing_left_s(dose_min: Array, rate: Array, limit_min: float) -> float:
    """Time until the first parcel of a standing strand reaches `limit_min` [s]; 0 when passed, inf when never.

    Parameters
    ----------
    dose_min, rate : Array
        Dose of the parcels [min at the reference temperature], and its growth [min per min].
    limit_min : float
        The dose in question [min].

    Examples
    --------
    >>> standing_left_s(np.array([0.0, 10.0]), np.array([1.0, 0.5]), 20.0)
    1200.0
    """
    left_min = (limit_min - dose_min) / np.maximum(rate, _NO_RATE)
    return _seconds(float(left_min.min()))


def feeding_left_s(dose_min: Array, rate: Array, limit_min: float, x_mm: Array, speed_mm_s: float) -> float:
    """Time until a parcel of a strand moving at `speed_mm_s` > 0 reaches `limit_min` before it leaves [s].

    `x_mm` rises from the merge point upstream; inf when every parcel leaves first.

    Examples
    --------
    >>> feeding_left_s(np.array([0.0]), np.array([1.0]), 20.0, np.array([10.0]), 1.0)
    inf
    """
    ahead = np.maximum.accumulate(rate)
    left_s = 60.0 * (limit_min - dose_min) / np.maximum(ahead, _NO_RATE)
    in_time = left_s < x_mm / speed_mm_s
    return max(0.0, float(left_s[in_time].min())) if in_time.any() else math.inf


def _seconds(left_min: float) -> float:
    longest_min = 1e9
    return math.inf if left_min > longest_min else max(0.0, 60.0 * left_min)
