"""What a graph is drawn of: values by column, and the limits they are held against. Pure.

Knows nothing of how they are drawn, nor of strands, machines or histories.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monitor.core.alert_types import Priority

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


class Level(NamedTuple):
    """A limit: its name, its value (one, or one per column), and what it means to be at or above it."""

    name: str
    value: float | Floats
    signal: Priority | None = None


@dataclass(frozen=True, slots=True)
class Curve:
    """Values by column, of any kind that numpy takes for numbers; as `monitor.history.memory.Trend` has them.

    Parameters
    ----------
    low, high : array
        Lowest and highest value in each column's time.
    known : array of bool
        Where anything is known.
    unit : str
        Unit of the values, which also says what range is sensible.
    before : int
        How many columns lie before anything was watched: they stay blank, for nothing is missing there.
    ahead_low, ahead_high : array
        What may come, in the columns after now; NaN where nothing is said.
    """

    low: ArrayLike
    high: ArrayLike
    known: ArrayLike
    unit: str
    before: int = 0
    ahead_low: ArrayLike = ()
    ahead_high: ArrayLike = ()


def measured(curve: Curve, columns: int | None = None) -> tuple[Floats, Floats, Flags]:
    """What was measured, in the first columns."""
    low = np.asarray(curve.low, dtype=float).ravel()[:columns]
    high = np.asarray(curve.high, dtype=float).ravel()[:columns]
    known = np.asarray(curve.known, dtype=bool).ravel()[:columns] & ~np.isnan(low) & ~np.isnan(high)
    return low, high, known


def fitted(values: ArrayLike, cells: int, missing: float) -> Floats:
    """Values for so many columns, cut or filled up at the end."""
    columns = np.full(cells, missing)
    given = np.asarray(values, dtype=float).ravel()[:cells]
    columns[: len(given)] = given
    return columns


def newest(level: Level) -> float:
    """The value of a limit now; NaN where it is not known."""
    known = np.asarray(level.value, dtype=float).ravel()
    known = known[~np.isnan(known)]
    return float(known[-1]) if len(known) else math.nan
