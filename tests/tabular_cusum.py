"""The watch's own CUSUM recursion as a test with a mean and a limit, the way textbooks state their examples."""

from dataclasses import dataclass

from monitor.core.cusum import CusumState, grown


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
