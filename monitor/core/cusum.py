"""Tabular CUSUM: a one-sided sequential test for a rise of the mean.

Owns the recursion of Page (1954); a head start (Lucas and Crosier 1982) is a sum to begin with. A value may carry a
weight, the amount of time or of strand it stands for: the ledger of lost millimetres gives each reading the millimetres
fed. Knows nothing of strands.
"""

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
