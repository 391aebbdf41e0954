"""Durations as the watch's sentences tell them."""

import math
from typing import Final

_MINUTE_S: Final = 60
_HOUR_MIN: Final = 60
_LONG_S: Final = 360_000
_FEW_MIN: Final = 2  # below, seconds matter


def clock_words(duration_s: float) -> str:
    """A duration in words short enough for a line.

    >>> clock_words(42), clock_words(600), clock_words(7500), clock_words(1e9), clock_words(float("inf"))
    ('42 s', '10 min', '2 h 05 min', 'over 100 h', 'any time')
    """
    if not math.isfinite(duration_s):
        return "any time"
    if duration_s > _LONG_S:
        return "over 100 h"
    minutes = int(duration_s // _MINUTE_S)
    if minutes < _FEW_MIN:
        return f"{duration_s:.0f} s"
    return f"{minutes} min" if minutes < _HOUR_MIN else f"{minutes // _HOUR_MIN} h {minutes % _HOUR_MIN:02d} min"
