"""Tabular CUSUM against published examples, through our own detector."""

from itertools import accumulate

import numpy as np
import pytest

from monitor.core.cusum import ZERO, CusumState
from tests.exact_run_length import run_length
from tests.tabular_cusum import Cusum

NIST = [
    *(324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600),
    *(324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350),
]
"""NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3: 20 means, target 325."""

MONTGOMERY = [
    *(9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40, 10.08),
    *(9.37, 10.62, 10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52),
]
"""D. C. Montgomery, *Introduction to Statistical Quality Control*, chapter 9: mean 10, standard deviation 1."""


def _run(cusum: Cusum, values: list[float]) -> list[CusumState]:
    return list(accumulate(values, cusum.advance, initial=cusum.initial()))[1:]


def _signalled(cusum: Cusum, states: list[CusumState]) -> list[int]:
    return [number for number, state in enumerate(states, 1) if cusum.is_signal(state)]


def test_handbook_upper_sums_and_signals() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.3, table of S_hi (two decimals), k = 0.3175, h = 4.1959: 14 signals first."""
    cusum = Cusum(mean=325.0, allowance=0.3175, limit=4.1959)
    states = _run(cusum, NIST)
    printed = [0.0] * 4 + [0.03] + [0.0] * 7 + [3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04]
    assert [state.total for state in states] == pytest.approx(printed, abs=0.006)
    assert _signalled(cusum, states) == list(range(14, 21))


def test_handbook_lower_sums() -> None:
    """The same table, S_lo: never a signal; a fall is a rise of the negated values."""
    cusum = Cusum(mean=-325.0, allowance=0.3175, limit=4.1959)
    states = _run(cusum, [-value for value in NIST])
    printed = [0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.26, 0.31] + [0.0] * 9
    assert [state.total for state in states] == pytest.approx(printed, abs=0.006)
    assert _signalled(cusum, states) == []


def test_handbook_change_began_after_the_twelfth_mean() -> None:
    """The sum left zero at sample 13, where the handbook's shift is seen; the new mean is told."""
    cusum = Cusum(mean=325.0, allowance=0.3175, limit=4.1959)
    last = _run(cusum, NIST)[-1]
    assert len(NIST) - last.since == 12.0
    assert cusum.mean_since(last) == pytest.approx(np.mean(NIST[12:]))


def test_textbook_signal_and_new_mean() -> None:
    """Montgomery's example (from memory, the data as IMSL's EWMA example prints them): K 0.5, H 5; 29 with 5.28."""
    cusum = Cusum(mean=10.0, allowance=0.5, limit=5.0)
    states = _run(cusum, MONTGOMERY)
    assert _signalled(cusum, states) == [29, 30]
    assert states[28].total == pytest.approx(5.28)
    assert states[28].since == 7.0
    assert cusum.mean_since(states[28]) == pytest.approx(11.25, abs=0.005)


def test_textbook_head_start() -> None:
    """The same data with a head start of H / 2 (from memory): 1.45, 0, 0, 1.16, 2.82, 2.50."""
    states = _run(Cusum(mean=10.0, allowance=0.5, limit=5.0, head_start=2.5), MONTGOMERY[:6])
    assert [state.total for state in states] == pytest.approx([1.45, 0, 0, 1.16, 2.82, 2.50])


@pytest.mark.parametrize(
    ("limit", "shift", "head_start", "published"),
    [(4.0, 1.0, 0.0, 8.38), (4.0, 1.0, 2.0, 5.29), (4.0, 2.0, 0.0, 3.34), (5.0, 1.0, 0.0, 10.4), (5.0, 1.5, 2.5, 3.37)],
)
def test_run_lengths_of_the_detector_itself(limit: float, shift: float, head_start: float, published: float) -> None:
    """Lucas and Crosier (1982), table 1: 4000 runs of our detector agree within four standard errors and rounding.

    At these shifts the other side of their two-sided test never signals first.
    """
    cusum = Cusum(mean=0.0, allowance=0.5, limit=limit, head_start=head_start)
    lengths = [_length(cusum, values) for values in np.random.default_rng(7).normal(shift, 1.0, (4000, 100)).tolist()]
    tolerance = 4.0 * np.std(lengths) / np.sqrt(len(lengths)) + 0.05
    assert np.mean(lengths) == pytest.approx(published, abs=tolerance)
    assert np.mean(lengths) == pytest.approx(run_length(0.5, limit, shift, head_start), abs=tolerance)


def _length(cusum: Cusum, values: list[float]) -> int:
    state = cusum.initial()
    for number, value in enumerate(values, 1):
        state = cusum.advance(state, value)
        if cusum.is_signal(state):
            return number
    raise AssertionError("no signal")


def test_equals_the_largest_sum_over_all_beginnings() -> None:
    """Page (1954): the recursion is the sum since the best beginning, found here by trying all of them."""
    values = np.random.default_rng(3).normal(0.2, 1.0, 60)
    states = _run(Cusum(mean=0.0, allowance=0.5, limit=9.0), values.tolist())
    for end in range(1, values.size + 1):
        tails = [float(np.sum(values[start:end] - 0.5)) for start in range(end)]
        assert states[end - 1].total == pytest.approx(max(0.0, *tails), abs=1e-9)


def test_limit_itself_is_no_signal() -> None:
    """A sum on the limit is silent, as the published run lengths have it."""
    cusum = Cusum(mean=0.0, allowance=0.0, limit=2.0)
    assert not cusum.is_signal(CusumState(2.0))
    assert cusum.mean_since(ZERO) == 0.0
