"""Exponentially weighted moving average against published examples, through our own detector."""

from itertools import accumulate

import pytest

from tests.ewma import Ewma, EwmaState
from tests.test_cusum import MONTGOMERY

NIST = [
    *(52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5),
    *(49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1),
]


def _run(ewma: Ewma, values: list[float]) -> list[EwmaState]:
    return list(accumulate(values, ewma.advance, initial=ewma.initial()))[1:]


def test_handbook_averages_and_limits() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.4: gain 0.3, target 50, s 2.0539, limits 52.5884 and 47.4115, none outside."""
    ewma = Ewma(mean=50.0, sd=2.0539, gain=0.3, width=3.0)
    states = _run(ewma, NIST)
    printed = [
        *(50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33),
        *(50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99),
    ]
    assert [state.average for state in states] == pytest.approx(printed, abs=0.0051)
    assert 50.0 + ewma.reach(states[-1]) == pytest.approx(52.5884, abs=2e-4)
    assert not any(ewma.is_signal(state) for state in states)


def test_textbook_signals() -> None:
    """Montgomery's example (from memory): gain 0.1, L 2.7; 29 and 30 signal, with 10.6468 and 10.6341."""
    ewma = Ewma(mean=10.0, sd=1.0, gain=0.1, width=2.7)
    states = _run(ewma, MONTGOMERY)
    assert [number for number, state in enumerate(states, 1) if ewma.is_signal(state)] == [29, 30]
    assert [state.average for state in states[-2:]] == pytest.approx([10.6468, 10.6341], abs=5e-5)
    assert 10.0 + ewma.reach(EwmaState(0.0, 0.0)) == pytest.approx(10.62, abs=0.005)
