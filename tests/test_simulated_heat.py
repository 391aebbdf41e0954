"""The simulated machine's heat side against the first law, nodal analysis and textbook lumped cooling."""

from dataclasses import replace
from math import pi
from statistics import fmean, pstdev

import numpy as np
import pytest

from connectors.simulated_heat import AMBIENT_C, Controller, HeatState, HotPath, Plant
from connectors.simulated_machine import chance


def stored_j(state: HeatState) -> float:
    """Heat stored above room temperature."""
    plant = state.plant
    return (
        plant.manifold_j_k * (state.manifold_c - AMBIENT_C)
        + plant.nozzle_j_k * (state.nozzle_c - AMBIENT_C)
        + plant.cold_end_j_k * (state.cold_end_c - AMBIENT_C)
        + plant.coolant_j_k * (state.coolant_c - AMBIENT_C)
    )


def leaving_w(state: HeatState, flow_mm_s: float, radiator: float) -> float:
    """Heat that crosses the machine's outside; the strand comes in as warm as the room and leaves as the nozzle."""
    plant = state.plant
    return (
        plant.manifold_loss_w_k * (state.manifold_c - AMBIENT_C)
        + plant.nozzle_loss_w_k * (state.nozzle_c - AMBIENT_C)
        + radiator * plant.radiator_w_k * (state.coolant_c - AMBIENT_C)
        + flow_mm_s * plant.strand_j_mm_k * (state.nozzle_c - AMBIENT_C)
    )


def test_no_heat_appears_or_vanishes() -> None:
    """Heat put in less heat that leaves is what is stored, in any transient (first law of thermodynamics)."""
    random, state = chance(3, "test"), HeatState(Plant())
    put_in_j = left_j = 0.0
    for _ in range(3_000):
        heat_w = (random.uniform(0, 60), random.uniform(0, 40))
        flow_mm_s, radiator = random.uniform(0, 4), random.uniform(0.1, 1)
        put_in_j += sum(heat_w) + state.plant.pump_w
        left_j += leaving_w(state, flow_mm_s, radiator)
        state.step(1.0, heat_w, flow_mm_s, radiator)
    assert stored_j(state) > 10_000
    assert stored_j(state) == pytest.approx(put_in_j - left_j, rel=1e-9)


@pytest.mark.parametrize("flow_mm_s", [0.0, 2.5])
def test_steady_state_is_that_of_nodal_analysis(flow_mm_s: float) -> None:
    """Steady temperatures solve the network of conductances (nodal analysis), and losses equal heater power."""
    plant = replace(Plant(), coolant_j_k=300.0)  # a smaller loop is steady sooner, at the same temperatures
    state = HeatState(plant)
    for _ in range(60_000):
        state.step(0.5, (20.0, 8.0), flow_mm_s)
    s, hb, sb = flow_mm_s * plant.strand_j_mm_k, plant.heat_breaks_w_k, plant.second_break_w_k
    ce, rad = plant.cold_end_loss_w_k, plant.radiator_w_k
    network = np.array(
        [
            [hb + sb + plant.manifold_loss_w_k + s, -sb, -hb - s, 0.0],
            [-sb - s, sb + plant.nozzle_loss_w_k + s, 0.0, 0.0],
            [-hb, 0.0, hb + ce + s, -ce],
            [0.0, 0.0, -ce, ce + rad],
        ]
    )
    above_k = np.linalg.solve(network, [20.0, 8.0, 0.0, plant.pump_w])
    found_c = [state.manifold_c, state.nozzle_c, state.cold_end_c, state.coolant_c]
    assert found_c == pytest.approx(list(AMBIENT_C + above_k), abs=1e-6)
    assert leaving_w(state, flow_mm_s, 1.0) == pytest.approx(20.0 + 8.0 + plant.pump_w, rel=1e-9)


def test_lumped_cooling_takes_the_textbook_time() -> None:
    """A steel ball 350 K above the air is 50 K above it after 5819 s (Holman, Heat Transfer, example 4-1)."""
    radius_m = 0.025
    ball_j_k = 7_800 * 460 * 4 / 3 * pi * radius_m**3
    plant = Plant(coolant_j_k=ball_j_k, radiator_w_k=10 * 4 * pi * radius_m**2, cold_end_loss_w_k=0.0, pump_w=0.0)
    state, time_s = HeatState(plant, coolant_c=AMBIENT_C + 350), 0.0
    while state.coolant_c > AMBIENT_C + 50:
        state.step(0.5, (0.0, 0.0), 0.0)
        time_s += 0.5
    assert time_s == pytest.approx(5_819, abs=3)


def run(hot: HotPath, seconds: int, flow_mm_s: float = 0.0, radiator: float = 1.0) -> list[tuple[float, float]]:
    readings = []
    for _ in range(seconds):
        hot.step(1.0, flow_mm_s, radiator)
        readings.append(hot.measured_c)
    return readings


def test_heaters_reach_their_set_points_and_hold_them() -> None:
    """After heating up both blocks stay within noise and draught of their set points, and never shot far over them."""
    hot = HotPath(chance(1, "test"))
    hot.set_c = (195.0, 225.0)
    heating = run(hot, 900)
    held = run(hot, 3_600)
    assert max(manifold for manifold, _ in heating) < 197
    assert max(nozzle for _, nozzle in heating) < 227
    for block, wanted_c in enumerate(hot.set_c):
        values = [reading[block] for reading in held]
        assert fmean(values) == pytest.approx(wanted_c, abs=0.05)
        assert 0.03 < pstdev(values) < 0.3
        assert max(abs(value - wanted_c) for value in values) < 1.0


def test_feeding_costs_the_enthalpy_of_the_strand() -> None:
    """Mean heater power rises by flow times heat capacity times warming, when strand passes (first law)."""
    hot = HotPath(chance(5, "test"))
    hot.set_c = (195.0, 225.0)
    run(hot, 3_000)
    plant = hot.state.plant

    def mean_w(flow_mm_s: float) -> float:
        run(hot, 1_200, flow_mm_s)
        power_w = []
        for _ in range(6_000):
            hot.step(1.0, flow_mm_s, 1.0)
            power_w.append(hot.duty[0] * plant.manifold_heater_w + hot.duty[1] * plant.nozzle_heater_w)
        return fmean(power_w)

    still_w, cold_end_c = mean_w(0.0), hot.state.cold_end_c
    feeding_w = mean_w(3.0)
    warmed_k = 225.0 - (cold_end_c + hot.state.cold_end_c) / 2
    assert feeding_w - still_w == pytest.approx(3.0 * plant.strand_j_mm_k * warmed_k, abs=0.15)


def test_a_weak_radiator_warms_the_cold_end() -> None:
    """With an eighth of the radiator left, cold end and coolant end tens of kelvin warmer; the manifold holds."""
    hot = HotPath(chance(2, "test"))
    hot.set_c = (195.0, 225.0)
    run(hot, 3_600)
    before_c = hot.state.cold_end_c
    assert 30 < before_c < 38
    run(hot, 25_000, radiator=0.12)
    assert hot.state.cold_end_c > before_c + 25
    assert hot.state.coolant_c < hot.state.cold_end_c
    assert hot.state.manifold_c == pytest.approx(195.0, abs=0.5)


def test_duty_is_limited_and_a_set_point_of_zero_is_off() -> None:
    """Duty stays within 0..1 whatever the error; a heater that is off has none."""
    controller = Controller()
    assert controller.duty(225.0, 25.0, 1.0) == 1.0
    assert controller.duty(195.0, 225.0, 1.0) == 0.0
    assert controller.duty(195.0, 194.0, 1.0) > 0.0
    assert controller.duty(0.0, 25.0, 1.0) == 0.0


def test_sensors_have_noise_and_steps_of_a_tenth() -> None:
    """A sensor reads in tenths of a degree, right on average, with the spread stated."""
    hot = HotPath(chance(7, "test"))
    values = [hot.sensed_c(195.03) for _ in range(4_000)]
    assert all(value == round(value, 1) for value in values)
    assert fmean(values) == pytest.approx(195.03, abs=0.01)
    assert pstdev(values) == pytest.approx((0.05**2 + 0.1**2 / 12) ** 0.5, rel=0.15)
