"""A curve as it is drawn: a span of time cut into columns, each with the lowest, the highest and the last value."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Trend:
    """One curve over a span of time, in columns of equal width. Arrays are read-only and of equal length.

    Parameters
    ----------
    begin_s, end_s : float
        The span, as it was asked for [s of machine time].
    low, high, last : Floats
        Of the values that fall in each column; NaN where `known` is False. They may be infinite (nothing runs out).
    known : Flags
        Where anything is known: False before the watch, after it, and in every gap of the data.
    """

    begin_s: float
    end_s: float
    low: Floats
    high: Floats
    last: Floats
    known: Flags


def trend_of(begin_s: float, end_s: float, low: Floats, high: Floats, last: Floats) -> Trend:
    """Trend of these columns, NaN where nothing is known."""
    known = ~np.isnan(low)
    for column in (low, high, last, known):
        column.setflags(write=False)
    return Trend(begin_s, end_s, low, high, last, known)
