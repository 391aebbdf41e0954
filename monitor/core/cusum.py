"""Tabular CUSUM: a one-sided sequential test for a rise of the mean.

Owns the recursion of Page (1954) with the head start of Lucas and Crosier (1982), and the estimate of when the change
began. A value may carry a weight, the amount of time or of strand it stands for: the ledger of lost millimetres gives
each reading the millimetres fed. Knows nothing of strands. Same interface as ewma.py.
"""

from dataclasses import dataclass
from typing import Final, NamedTuple


class CusumState(NamedTuple):
    """Sum above the allowance, and the weight taken since it was last zero."""

    total: float
    since: float = 0.0


ZERO: Final = CusumState(0.0)


def grown(state: CusumState, value: float, reference: float, weight: float = 1.0) -> CusumState:
    """The recursion: the sum grows by what `value` is above `reference` per unit of weight; it is never below 0."""
    total = state.total + value - reference * weight
    return CusumState(total, state.since + weight) if total > 0.0 else ZERO


@dataclass(frozen=True, slots=True)
class Cusum:
    """Signals when values lie above `mean + allowance` for long enough.

    Attributes
    ----------
    mean : float
        In-control mean of a value of weight 1.
    allowance : float
        K: how far above the mean a value may lie and still lower the sum; usually half the shift to be found.
    limit : float
        H: the sum above which the test signals (`>`, not `>=`).
    head_start : float
        Sum to begin with.
    """

    mean: float
    allowance: float
    limit: float
    head_start: float = 0.0

    def initial(self) -> CusumState:
        """State before the first value."""
        return CusumState(self.head_start)

    def advance(self, state: CusumState, value: float, weight: float = 1.0) -> CusumState:
        """State after `value`, the sum over `weight` units."""
        return grown(state, value, self.mean + self.allowance, weight)

    def is_signal(self, state: CusumState) -> bool:
        """Whether the sum is above the limit."""
        return state.total > self.limit

    def mean_since(self, state: CusumState) -> float:
        """Mean of the values since the sum was last zero: the estimate of the new mean."""
        return self.mean + self.allowance + state.total / state.since if state.since > 0.0 else self.mean
