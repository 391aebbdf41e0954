"""The watch's CUSUM beside change detectors by other hands: ruptures (offline, least squares) and river (Page-Hinkley).

Both libraries are for developers, where they have wheels (below Python 3.14).
"""

from itertools import accumulate
from random import Random

import numpy as np
import pytest

from tests.tabular_cusum import Cusum
from tests.test_cusum import NIST

ruptures = pytest.importorskip("ruptures", reason="no wheels for this Python")
drift = pytest.importorskip("river.drift", reason="no wheels for this Python")

SHIFT_AT, LONG_BEFORE, AFTER = 400, 4000, 60
K, H = 0.75, 8.0


def _shifted(seed: int, shift_at: int = SHIFT_AT) -> list[float]:
    """Noise of mean 0 and deviation 1, risen by 1.5 from a place on."""
    random = Random(seed)  # noqa: S311 -- noise, not a secret
    return [random.gauss(1.5 if at >= shift_at else 0.0, 1.0) for at in range(shift_at + AFTER)]


def _first_signal(values: list[float]) -> tuple[int, int]:
    """Place of the first signal, and of the onset that the sum shows then."""
    cusum = Cusum(mean=0.0, allowance=K, limit=H)
    for at, state in enumerate(accumulate(values, cusum.advance, initial=cusum.initial())):
        if cusum.is_signal(state):
            return at - 1, at - int(state.since)
    raise AssertionError("no signal")


def _break_of(values: list[float]) -> int:
    """The one break that leaves the least squares."""
    return int(ruptures.Binseg(model="l2", min_size=2, jump=1).fit(np.array(values)).predict(n_bkps=1)[0])


def test_the_handbooks_change_is_where_ruptures_sees_it() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.3: the sum left zero where least squares breaks the twenty means."""
    cusum = Cusum(mean=325.0, allowance=0.3175, limit=4.1959)
    *_, last = accumulate(NIST, cusum.advance, initial=cusum.initial())

    assert len(NIST) - int(last.since) == _break_of(NIST) == 12


@pytest.mark.parametrize("seed", range(1, 21))
def test_the_onset_is_near_the_break_of_least_squares(seed: int) -> None:
    """From what came up to the signal alone, both place the onset within 12 values of each other and of the truth."""
    values = _shifted(seed)
    signal, onset = _first_signal(values)

    assert signal >= SHIFT_AT
    assert abs(onset - SHIFT_AT) <= 12
    assert abs(onset - _break_of(values[: signal + 1])) <= 12


@pytest.mark.parametrize("seed", range(1, 21))
def test_page_hinkley_signals_at_the_same_place(seed: int) -> None:
    """River's test learns the mean that ours is told; with 4,000 values to learn from both signal within 3 values."""
    values = _shifted(seed, LONG_BEFORE)
    other = drift.PageHinkley(min_instances=30, delta=K, threshold=H, alpha=1.0, mode="up")
    signals = (at for at, value in enumerate(values) if other.update(value) is None and other.drift_detected)

    assert abs(next(signals) - _first_signal(values)[0]) <= 3
