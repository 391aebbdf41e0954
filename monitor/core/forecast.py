"""Time left until a dose is reached if nothing changes: closed forms, because a standing strand keeps its temperature.

A standing parcel at rate r reaches dose D after (D - dose) / r. A moving one must reach it before it passes the merge
point; the hottest rate still ahead of it is assumed for the whole way, so the answer errs to the early side.
"""

import math
from typing import NamedTuple

import numpy as np

from monitor.core.assessment import Array
from monitor.core.span import Span

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


class Ageing(NamedTuple):
    """One strand's parcels, and how it moves: what a time left is reckoned from."""

    x_mm: Array
    dose_min: Array
    unsure_min: Array | float  # the part of it that may not be there
    log_cautious: Array  # ln(rate) by the cautious law …
    log_hopeful: Array  # … and by the best single activation energy, dry
    log_wet: float  # ln of the wet factor that is in the cautious one
    speed_mm_s: float  # 0 when it stands


def time_left_s(ageing: Ageing, limit_min: float, limit_high_min: float) -> Span:
    """Range of the time left: cautious law and limit, and best law with the hopeful limit [s]."""
    low_s = _left_s(ageing, ageing.log_cautious, limit_min)
    high_s = _left_s(ageing, ageing.log_hopeful, limit_high_min, is_sure_only=True)
    return Span(low_s, max(low_s, high_s))


def main_doubt(ageing: Ageing, limit_min: float, limit_high_min: float) -> str:
    """The datum that makes most of the range: which of them alone, at its hopeful end, leaves the most time.

    Empty where nothing runs out, or nothing makes a difference.
    """
    low_s = _left_s(ageing, ageing.log_cautious, limit_min)
    if math.isinf(low_s):
        return ""
    alone_s = {
        "activation energy": _left_s(ageing, ageing.log_hopeful + ageing.log_wet, limit_min),
        "moisture": _left_s(ageing, ageing.log_cautious - ageing.log_wet, limit_min),
        "dose limit": _left_s(ageing, ageing.log_cautious, limit_high_min),
        "gap in the data": _left_s(ageing, ageing.log_cautious, limit_min, is_sure_only=True),
    }
    name = max(alone_s, key=alone_s.__getitem__)
    return name if alone_s[name] > low_s else ""


def _left_s(ageing: Ageing, log_rate: Array, limit_min: float, *, is_sure_only: bool = False) -> float:
    dose_min = ageing.dose_min - ageing.unsure_min if is_sure_only else ageing.dose_min
    if ageing.speed_mm_s > 0.0:
        return feeding_left_s(dose_min, np.exp(log_rate), limit_min, ageing.x_mm, ageing.speed_mm_s)
    return standing_left_s(dose_min, np.exp(log_rate), limit_min)


def _seconds(left_min: float) -> float:
    longest_min = 1e9
    return math.inf if left_min > longest_min else max(0.0, 60.0 * left_min)
