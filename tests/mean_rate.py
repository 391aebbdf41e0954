"""Mean rate of ageing over a step, for tests that add up doses by themselves."""

import numpy as np

from monitor.core.assessment import Array
from monitor.core.dose import log_mean


def mean_rate(log_before: Array, log_after: Array) -> Array:
    """Mean of the rate over a step in which ln(rate) runs linearly from `log_before` to `log_after`.

    (r1 - r0) / ln(r1 / r0): exact when 1/T is linear within the step.

    >>> mean_rate(np.array([0.0, 0.0]), np.array([0.0, 1.0])).round(6).tolist()
    [1.0, 1.718282]
    """
    return log_mean(log_after - log_before, np.exp(log_before), np.exp(log_after))
