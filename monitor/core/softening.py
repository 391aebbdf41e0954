"""Softening dose of the strand where it must stay a stiff piston: minutes at 20 K above its glass transition.

By the law of Williams, Landel and Ferry with its universal constants, referred to T* = T_g + 20 K: the rate is
10^(C1 (T - T*) / (C2 + T - T*)) above the glass transition and nothing below. It counts upstream of the heat break
only; in the manifold it would be huge on every healthy machine.
"""

from typing import Final

import numpy as np

from monitor.core.assessment import Array

UNIVERSAL_C1: Final = 17.44
UNIVERSAL_C2_K: Final = 51.6
"""Universal constants referred to the glass transition (Williams, Landel & Ferry 1955; Ferry, ch. 11)."""

REFERENCE_ABOVE_GLASS_K: Final = 20.0

C2_K: Final = UNIVERSAL_C2_K + REFERENCE_ABOVE_GLASS_K
C1: Final = UNIVERSAL_C1 * UNIVERSAL_C2_K / C2_K
"""The same constants referred to T* = T_g + 20 K."""


def softening_rate(temp_c: Array, glass_c: Array) -> Array:
    """Minutes of softening dose per minute, 0 at or below the glass transition.

    Parameters
    ----------
    temp_c : Array
        Temperature of the parcels [°C].
    glass_c : Array
        Glass transition, broadcastable against `temp_c` [°C].

    Notes
    -----
    Meant for T_g to about T_g + 100 K. For a semi-crystalline strand the crystals still hold above T_g, so the estimate
    is cautious.

    Examples
    --------
    >>> softening_rate(np.array([60.0, 80.0]), np.array([60.0])).tolist()
    [0.0, 1.0]
    """
    above_k = temp_c - glass_c
    lag_k = np.maximum(above_k, 0.0) - REFERENCE_ABOVE_GLASS_K
    rate: Array = np.where(above_k > 0.0, 10.0 ** (C1 * lag_k / (C2_K + lag_k)), 0.0)
    return rate
