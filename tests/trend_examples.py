"""Six invented hours of values for tests of trends: waves, one spike, one gap, one strand that ages past its limit."""

import math
from functools import cache

import numpy as np

from monitor.history.channels import readings_of
from monitor.history.memory import History
from tests import screen_samples as samples

STEP_S = 29.0
NOW_S = samples.healthy().time_s
SPIKE_S, SPIKE_C = NOW_S - 3000.0, 231.0
GAP_S = (NOW_S - 9000.0, NOW_S - 7800.0)


@cache
def six_hours(spike_c: float = SPIKE_C, gap_s: tuple[float, float] = GAP_S) -> History:
    """The past of `samples.healthy()`."""
    history = History()
    latest = samples.healthy()
    steady = readings_of(latest)
    for time_s in np.arange(NOW_S - 6 * samples.HOUR_S, NOW_S + 0.1, STEP_S):
        history.take_readings(float(time_s), _at(float(time_s), steady, spike_c, gap_s))
    history.take_readings(NOW_S, _at(NOW_S, steady, spike_c, gap_s))
    return history


def _at(time_s: float, steady: dict[str, float], spike_c: float, gap_s: tuple[float, float]) -> dict[str, float]:
    if gap_s[0] <= time_s < gap_s[1]:
        return dict.fromkeys(steady, math.nan)
    done = (time_s - NOW_S) / (6 * samples.HOUR_S) + 1
    is_spike = abs(time_s - SPIKE_S) < STEP_S / 2
    return {
        **steady,
        "wall manifold": spike_c if is_spike else 195.0 + 2.5 * math.sin(time_s / 1500),
        "dose 4": 110.0 * done,
        "left 4": max(0.0, 20_000.0 * (0.9 - done)),
        "feed 1": 2.1 if math.sin(time_s / 700) > 0 else 0.0,
    }
