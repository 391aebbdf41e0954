"""How limits follow from a rig and a false-alarm rate."""

import math

import numpy as np
import pytest

from monitor.core.run_length import event_run_mm, walk_alarm_rate_per_mm, walk_limit_mm
from monitor.core.stall_baseline import Baseline, Observed, learn
from monitor.core.stall_law import (
    FALSE_ALARMS_PER_1000_H,
    FALSE_FLAGS_PER_MM,
    StallLaw,
    baseline_sd,
    limits_for,
    stall_law,
)
from monitor.core.stall_types import Drive
from tests.strand_examples import law_of


@pytest.mark.parametrize("count_mm", [0.1, 1.0, 3.0])
def test_three_tests_together_keep_to_the_stated_rate(count_mm: float) -> None:
    """The computed rates of the three walks add up to the stated one: 0.2 per 1000 h of feed at 6 mm³/s."""
    law = law_of(count_mm)
    rates = [
        walk_alarm_rate_per_mm(limit_mm, allowance, law.noise.walk, law.noise.bias_sd, law.step_mm)
        for allowance, limit_mm in zip(law.limits.allowances, law.limits.walk_mm, strict=True)
    ]
    fed_mm = 1000.0 * 3600.0 * 6.0 / (math.pi / 4.0 * 1.75**2)
    assert sum(rates) * fed_mm == pytest.approx(FALSE_ALARMS_PER_1000_H, rel=1e-3)


def test_flags_alone_keep_to_the_stated_rate() -> None:
    """With one false flag per metre of feed the flags alone alarm no more than 0.2 times per 1000 h."""
    law = law_of(None)
    fed_mm = 1000.0 * 3600.0 * 6.0 / (math.pi / 4.0 * 1.75**2)
    run_mm = event_run_mm(FALSE_FLAGS_PER_MM, law.flag_allowance_per_mm, law.flag_limit)
    assert fed_mm / run_mm <= FALSE_ALARMS_PER_1000_H
    assert 2.0 < law.flag_limit < 3.0  # three flags close together


def _delay_mm(law: StallLaw, slip: float, allowance: float, walk_mm: float) -> float:
    """Feed until slip of this size is found: limit over what the sum gains per mm."""
    return (law.noise.static_mm + law.step_mm + walk_mm) / (slip - allowance)


@pytest.mark.parametrize("count_mm", [0.1, 1.0, 3.0])
@pytest.mark.parametrize(("index", "slip"), [(1, 0.3), (2, 0.1)])
def test_allowances_find_their_slip_soonest(count_mm: float, index: int, slip: float) -> None:
    """No other allowance on a finer grid finds 30 (medium) or 10 % slip (slow) noticeably sooner."""
    law = law_of(count_mm)
    others = [
        _delay_mm(law, slip, k, walk_limit_mm(law.rate_per_mm, k, law.noise.walk, law.noise.bias_sd, law.step_mm))
        for k in np.linspace(0.1 * slip, 0.9 * slip, 33)
    ]
    assert _delay_mm(law, slip, law.limits.allowances[index], law.limits.walk_mm[index]) <= 1.05 * min(others)


@pytest.mark.parametrize("changed", [{"walk": 0.1}, {"bias_sd": 0.02}])
def test_a_noisier_rig_is_slower(changed: dict[str, float]) -> None:
    """Random loss and an unsure baseline each cost feed before 30 and 10 % slip are found."""
    law = law_of()
    noisy = limits_for(law.noise._replace(**changed), law.rate_per_mm, law.speed_mm_s, law.period_s)
    for index, slip in ((1, 0.3), (2, 0.1)):
        delays = [
            _delay_mm(law, slip, limits.allowances[index], limits.walk_mm[index]) for limits in (law.limits, noisy)
        ]
        assert delays[1] > delays[0]


def test_a_count_enters_once() -> None:
    """A count of 3 instead of 0.1 mm widens the bounded error by 2.9 mm, and no more."""
    assert law_of(3.0).noise.static_mm == pytest.approx(law_of().noise.static_mm + 2.9)


def test_baseline_error_by_simulation() -> None:
    """Slip that wanders (correlation 2 m, sd 0.4 %) about the mean of 600 mm: the formula's sd, by 4000 paths."""
    law = law_of()
    rng, step_mm, drift = np.random.default_rng(2), 10.0, 0.004
    keep = math.exp(-step_mm / 2000.0)
    path = [drift * rng.normal(size=4000)]
    for _ in range(59 + 1500):
        path.append(keep * path[-1] + drift * math.sqrt(1.0 - keep**2) * rng.normal(size=4000))
    learned = np.mean(path[:60], axis=0)
    much_later = path[-1]
    quiet = law.noise._replace(walk=1e-9, static_mm=0.0, late_s=0.0)
    assert np.std(much_later - learned) == pytest.approx(baseline_sd(quiet, drift, 600.0, 2.5), rel=0.05)


@pytest.mark.parametrize(
    ("diameter_mm", "period_s", "count_mm", "name"),
    [(0.0, 1.0, 0.1, "filament_diameter_mm"), (1.75, -1.0, 0.1, "report_period_s"), (1.75, 1.0, 0.0, "encoder_mm")],
)
def test_impossible_rigs_are_refused(diameter_mm: float, period_s: float, count_mm: float, name: str) -> None:
    """A size that is not above zero is our own mistake and is named."""
    with pytest.raises(ValueError, match=name):
        stall_law(
            Drive(encoder_mm_per_count=count_mm),
            filament_diameter_mm=diameter_mm,
            min_feed_c=190.0,
            report_period_s=period_s,
        )


# ---- what is learned --------------------------------------------------------------------------------------------


def _learned(law: StallLaw, walk: float, line: tuple[float, float] = (0.01, 0.002), seed: int = 4) -> Baseline:
    rng, baseline = np.random.default_rng(seed), Baseline()
    while not baseline.is_frozen:
        flow = float(rng.uniform(2.0, 12.0))
        for _ in range(60):  # one flow for a whole window, so that the slope can be seen
            loss = (line[0] + line[1] * flow) * 0.5 + walk * math.sqrt(0.5) * float(rng.normal())
            baseline = learn(law, baseline, Observed(0.5, 0.5 - loss, flow))
    return baseline


def test_baseline_finds_the_line() -> None:
    """Healthy slip of 1 % and 0.2 % per mm³/s is found within what its own covariance says."""
    baseline = _learned(law_of(), 0.02)
    for flow in (3.0, 7.0, 11.0):
        p00, p01, p11 = baseline.covariance
        sd = math.sqrt(p00 + 2.0 * p01 * flow + p11 * flow**2)
        assert abs(baseline.slip(flow) - 0.01 - 0.002 * flow) < 3.0 * sd
        assert sd < 0.02


def test_noise_as_assumed_keeps_the_limits_and_worse_noise_raises_them() -> None:
    """A walk of 0.04 is within the assumed 0.05; 0.12 is measured, not underrated; 1.0 is believed up to 0.15."""
    law = law_of()
    quiet, loud, absurd = _learned(law, 0.04), _learned(law, 0.12), _learned(law, 1.0)
    assert quiet.noise is not None
    assert loud.noise is not None
    assert quiet.noise.walk == law.noise.walk
    assert 0.1 < loud.noise.walk < 0.1501
    assert absurd.noise is not None
    assert absurd.noise.walk == pytest.approx(3.0 * law.noise.walk)
    assert quiet.limits is not None
    assert loud.limits is not None
    assert loud.limits.walk_mm[2] > 2.0 * quiet.limits.walk_mm[2]
    assert absurd.limits is not None
    assert absurd.limits.walk_mm[0] < 1.0


def test_frozen_baseline_stays() -> None:
    """A slow clog after learning is not learned: the very same object comes back."""
    law = law_of()
    baseline = _learned(law, 0.02)
    assert learn(law, baseline, Observed(0.5, 0.1, 6.0)) is baseline


def test_windows_are_rejected_whole() -> None:
    """Leaving out single suspect readings would bend the line; whole windows leave it where it is.

    Position errs by up to one count of 3 mm. One reading in 50 shows so much loss that it is suspect.
    """
    law, rng = law_of(3.0, 0.5), np.random.default_rng(8)
    whole, single, position_mm = Baseline(), Baseline(), 0.0
    while not whole.is_frozen:
        error_mm = float(rng.uniform(-1.5, 1.5))
        seen_mm, position_mm = 1.0 + error_mm - position_mm, error_mm
        is_suspect = seen_mm < -1.4
        whole = learn(law, whole, Observed(1.0, seen_mm, 6.0, is_suspect))
        if not is_suspect:
            single = learn(law, single, Observed(1.0, seen_mm, 6.0))
    assert abs(whole.slip(6.0)) < 0.01
    assert abs(single.slip(6.0)) > 0.03
