"""Computed run lengths and limits against published tables and against simulation."""

import math

import numpy as np
import pytest
from scipy.stats import norm

from monitor.core.run_length import (
    event_run_mm,
    siegmund,
    walk_alarm_rate_per_mm,
    walk_limit_mm,
)
from tests.exact_run_length import limit_for, run_length, two_sided, two_sided_with_head_start

LUCAS_CROSIER = [
    (0.0, 168, 465, 149, 430),
    (0.25, 74.2, 139, 62.7, 122),
    (0.50, 26.6, 38.0, 20.1, 28.7),
    (0.75, 13.3, 17.0, 8.97, 11.2),
    (1.00, 8.38, 10.4, 5.29, 6.35),
    (1.50, 4.75, 5.75, 2.86, 3.37),
    (2.00, 3.34, 4.01, 2.01, 2.36),
    (2.50, 2.62, 3.11, 1.59, 1.86),
    (3.00, 2.19, 2.57, 1.32, 1.54),
    (4.00, 1.71, 2.01, 1.07, 1.16),
]
"""Shift; two-sided run lengths for h = 4, h = 5, and both with head start h / 2."""


@pytest.mark.parametrize(("shift", "h4", "h5", "h4_start", "h5_start"), LUCAS_CROSIER)
def test_two_sided_table(shift: float, h4: float, h5: float, h4_start: float, h5_start: float) -> None:
    """Lucas and Crosier (1982), table 1, k = 0.5, as also Montgomery and Runger print it; last column from memory."""
    for limit, plain, started in ((4.0, h4, h4_start), (5.0, h5, h5_start)):
        upper, lower = run_length(0.5, limit, shift), run_length(0.5, limit, -shift)
        assert two_sided(upper, lower) == pytest.approx(plain, rel=6e-3)
        with_start = [
            (run_length(0.5, limit, mean), run_length(0.5, limit, mean, limit / 2.0)) for mean in (shift, -shift)
        ]
        assert two_sided_with_head_start(with_start[0], with_start[1]) == pytest.approx(started, rel=6e-3)


@pytest.mark.parametrize(
    ("allowance", "limit", "mean", "published"),
    [
        (0.5, 3.0, 0.0, 117.59),
        (0.5, 3.0, 1.5, 3.75),
        (0.5, 3.0, -0.5, 1963.0),
        (0.5, 3.0, 0.5, 17.35),
        (0.0, 10.0, -0.25, 2071.51),
        (0.0, 10.0, 0.0, 124.66),
        (0.0, 10.0, 1.0, 10.75),
    ],
)
def test_one_sided_points(allowance: float, limit: float, mean: float, published: float) -> None:
    """Values that the manual of the R package spc quotes under xcusum.arl."""
    assert run_length(allowance, limit, mean) == pytest.approx(published, rel=4e-4)


def test_one_sided_to_seven_digits() -> None:
    """The same manual: k 0.25, h 8, mean 2.5 without and with a head start of 0.1.

    It prints ten digits; ours, the same to 13 digits from 40 to 240 nodes, differ from the eighth on.
    """
    assert run_length(0.25, 8.0, 2.5) == pytest.approx(4.1500836225, rel=3e-8)
    assert run_length(0.25, 8.0, 2.5, 0.1) == pytest.approx(4.1061588131, rel=3e-8)


def test_siegmund() -> None:
    """Siegmund (1985), as Montgomery uses it (from memory): 938.2 one-sided at k 0.5, h 5, and 10.34 at one sigma."""
    lengths = siegmund(np.array([-0.5, 0.5]), 5.0)
    assert lengths == pytest.approx([938.2, 10.34], abs=0.05)
    assert siegmund(np.array([0.0, 1e-7]), 5.0) == pytest.approx([6.166**2] * 2, rel=1e-5)


@pytest.mark.parametrize("allowance", [0.1, 0.25, 0.5, 1.0])
def test_siegmund_against_the_integral_equation(allowance: float) -> None:
    """The quick formula gives limits within 2 % of the exact ones, and none is too low by more than half a percent."""
    target = 2e6
    exact = limit_for(target, allowance)
    formula = walk_limit_mm(1.0 / target, allowance, 1.0, 0.0, 1.0)
    assert 0.995 * exact <= formula <= 1.02 * exact + 0.02


def test_limit_has_the_run_length_asked_for() -> None:
    """Going there and back; the values of 3.6 million samples are those of two other computations of ours."""
    assert run_length(0.5, limit_for(1000.0, 0.5)) == pytest.approx(1000.0, rel=1e-4)
    assert limit_for(3.6e6, 0.5) == pytest.approx(13.245, abs=5e-4)
    assert limit_for(3.6e6, 1.0) == pytest.approx(6.757, abs=5e-4)


def test_one_sample_limit() -> None:
    """A CUSUM with a very large allowance is a limit on single values: the run length is 1 / tail (scipy)."""
    assert run_length(3.0, 1e-6) == pytest.approx(1.0 / norm.sf(3.0), rel=1e-4)


def test_walk_rate_does_not_depend_on_the_units_of_length() -> None:
    """A walk told per metre instead of per millimetre has the same alarms per metre."""
    per_mm = walk_alarm_rate_per_mm(1.0, 0.05, 0.05, 0.004, 0.6)
    per_m = walk_alarm_rate_per_mm(0.001, 0.05, 0.05 * math.sqrt(0.001), 0.004, 0.0006)
    assert per_m == pytest.approx(1000.0 * per_mm)


def test_uncertain_mean_needs_a_higher_limit() -> None:
    """What is not known of healthy slip raises the limit, and one that reaches the allowance drowns the test."""
    limits = [walk_limit_mm(7e-9, 0.03, 0.05, sd, 0.6) for sd in (0.0, 0.003, 0.006, 0.03)]
    assert limits == sorted(limits)
    assert math.isinf(limits[-1])


def test_walk_rate_by_simulation() -> None:
    """4000 simulated ledgers of 60 m, walk 0.1 mm per sqrt mm, k 0.03, at a limit low enough to be crossed at times."""
    rng = np.random.default_rng(5)
    step_mm, allowance, walk, limit_mm, runs = 1.0, 0.03, 0.1, 0.8, 400
    total, crossed, looks = np.zeros(runs), 0, 6000
    for _ in range(looks):
        total = np.maximum(0.0, total + walk * math.sqrt(step_mm) * rng.normal(size=runs) - allowance * step_mm)
        crossed += int((total > limit_mm).sum())
        total[total > limit_mm] = 0.0
    rate = crossed / (runs * looks * step_mm)
    computed = walk_alarm_rate_per_mm(limit_mm, allowance, walk, 0.0, step_mm)
    assert crossed > 500
    assert rate == pytest.approx(computed, rel=0.05 + 4.0 / math.sqrt(crossed))


def test_counted_events_by_simulation() -> None:
    """Random events one per 20 mm, the sum falling 0.05 per mm: mean feed to signal of 2000 simulated runs."""
    rng = np.random.default_rng(11)
    feeds = []
    for _ in range(2000):
        total, fed_mm = 0.0, 0.0
        while total <= 2.5:
            gap_mm = rng.exponential(20.0)
            fed_mm, total = fed_mm + gap_mm, max(0.0, total - 0.05 * gap_mm) + 1.0
        feeds.append(fed_mm)
    error = 4.0 * float(np.std(feeds)) / math.sqrt(len(feeds))
    assert event_run_mm(0.05, 0.05, 2.5) == pytest.approx(np.mean(feeds), abs=error)
