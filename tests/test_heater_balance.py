"""Power balance of a heater on a block of one lump, with draught, whole percents of duty and noisy temperatures."""

import math
from collections.abc import Iterator
from random import Random
from typing import NamedTuple

import pytest

from monitor.core.heater_balance import (
    HeaterBalance,
    HeaterReading,
    advance_balance,
    initial_balance,
    is_missing,
    melt_error,
    why_unavailable,
)
from monitor.core.run_length import diffusion_limit, walk_limit_mm

MELT_J_PER_MM3 = 0.44


class Block(NamedTuple):
    """What the heater and its room are like."""

    draught_w: float = 0.25
    flow_mm3_s: float = 6.0  # mean
    varies: bool = True
    told_power_w: float = 40.0
    stops_s: float = math.inf


def _readings(block: Block, hours: float, seed: int = 1) -> Iterator[HeaterReading]:
    """A 40 W heater on 12 J/K under proportional-integral control; the draught lasts 25 s."""
    random = Random(seed)  # noqa: S311 - a simulation, not a secret
    temp_c, felt, draught_w, integral, flow, left_s = 210.0, 0.0, 0.0, 0.4, block.flow_mm3_s, 0.0
    for second in range(int(3600 * hours)):
        left_s -= 1.0
        if block.varies and left_s <= 0.0:
            left_s = random.lognormvariate(1.0, 0.9)
            flow = block.flow_mm3_s * random.uniform(0.3, 1.7) if random.random() < 0.85 else 0.0
        felt += ((0.0 if second >= block.stops_s else flow) - felt) / 4.0
        draught_w += -draught_w / 25.0 + block.draught_w * math.sqrt(2.0 / 25.0) * random.gauss(0.0, 1.0)
        told_c = temp_c + random.gauss(0.0, 0.05)
        integral = min(1.0, max(0.0, integral + 0.0012 * (210.0 - told_c)))
        duty = round(min(1.0, max(0.0, integral + 0.05 * (210.0 - told_c))), 2)
        temp_c += (40.0 * duty - 0.08 * (temp_c - 25.0) - MELT_J_PER_MM3 * felt - draught_w) / 12.0
        yield HeaterReading(float(second), told_c, duty, block.told_power_w, flow)


def _after(block: Block, hours: float, seed: int = 1) -> HeaterBalance:
    state = initial_balance()
    for reading in _readings(block, hours, seed):
        state = advance_balance(state, reading)
    return state


def test_calibration_finds_the_melting_energy() -> None:
    """The energy per mm³ is found within 10 %, and the block's heat capacity within a quarter."""
    state = _after(Block(), 2.0)
    standing_w, melt, capacity = state.calibration.coefficients
    assert why_unavailable(state) is None
    assert melt == pytest.approx(MELT_J_PER_MM3, rel=0.1)
    assert abs(melt - MELT_J_PER_MM3) < 4.0 * melt_error(state.calibration) + 0.02
    assert standing_w == pytest.approx(0.08 * 185.0, rel=0.05)
    assert capacity == pytest.approx(12.0, rel=0.25)


@pytest.mark.parametrize("density_g_cm3_heat_j_gk", [(1.24, 1.80), (1.05, 2.1), (1.27, 1.9), (1.14, 2.6)])
def test_known_plastics_lie_within_what_is_believed(density_g_cm3_heat_j_gk: tuple[float, float]) -> None:
    """Heating PLA, ABS, PETG or PA6 by 200 K (handbook values, from memory) takes what is held possible."""
    density, heat = density_g_cm3_heat_j_gk
    assert 0.15 < density * heat * 200.0 / 1000.0 < 0.9


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_full_stall_is_found(seed: int) -> None:
    """At 6 mm³/s with 0.25 W of draught a full stall shows within 250 mm of strand."""
    state = initial_balance()
    fed_mm3 = 0.0
    for reading in _readings(Block(stops_s=7200.0), 2.5, seed):
        state = advance_balance(state, reading)
        if reading.time_s >= 7200.0:
            fed_mm3 += reading.flow_mm3_s
        if is_missing(state):
            break
    assert reading.time_s > 7200.0
    assert fed_mm3 / 2.405 < 250.0


@pytest.mark.parametrize("draught_w", [0.25, 0.5])
def test_healthy_hours_are_silent(draught_w: float) -> None:
    """Six hours with flows from 0 to 10 mm³/s."""
    state = initial_balance()
    for reading in _readings(Block(draught_w), 6.0, 9):
        state = advance_balance(state, reading)
        assert not is_missing(state)
    assert why_unavailable(state) is None


@pytest.mark.parametrize(
    ("block", "hours", "reason"),
    [
        (Block(), 0.1, "still calibrating"),
        (Block(varies=False), 1.0, "flow has hardly varied"),
        (Block(told_power_w=160.0), 1.0, "flow or heater power is told wrong"),
        (Block(draught_w=1.2, flow_mm3_s=10.0), 3.0, "come and go unexplained"),
        (Block(draught_w=0.6, flow_mm3_s=1.0), 1.0, "only known to ±"),
    ],
)
def test_it_says_why_it_sees_nothing(block: Block, hours: float, reason: str) -> None:
    """It refuses in words, and never alarms while it does."""
    state = _after(block, hours)
    words = why_unavailable(state)
    assert words is not None
    assert reason in words
    assert not is_missing(state)


def test_a_gap_in_the_data_is_no_missing_energy() -> None:
    """Five minutes without readings, after which flow and duty have changed, add nothing."""
    state = _after(Block(), 2.0)
    last = state.last
    assert last is not None
    before = state.missing
    state = advance_balance(state, last._replace(time_s=last.time_s + 300.0, flow_mm3_s=12.0))
    assert state.missing == before


def test_limit_of_diffusion() -> None:
    """The closed form is what the walk's limit comes to when it is looked at all the time."""
    closed = diffusion_limit(1e-7, 0.5, 2.0)
    assert walk_limit_mm(1e-7, 0.5, 2.0, 0.0, 1e-8) == pytest.approx(closed, rel=1e-3)
    x = 2.0 * 0.5 * closed / 2.0**2
    assert (math.exp(x) - 1.0 - x) * 2.0**2 / (2.0 * 0.5**2) == pytest.approx(1e7)
