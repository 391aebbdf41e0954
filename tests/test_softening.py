"""Softening dose: the law of Williams, Landel and Ferry against published values, and the cold side warming."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import exp1

from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import SCENARIOS
from connectors.telemetry import Sample
from monitor.config import demo_profile
from monitor.core.alert_types import Priority
from monitor.core.engine import run
from monitor.core.field_building import build_field
from monitor.core.parameters import WallLaw, Zone
from monitor.core.softening import C1, C2_K, UNIVERSAL_C1, UNIVERSAL_C2_K, softening_rate
from tests.machines import machine

GLASS = np.array([100.0])


@pytest.mark.parametrize(
    ("above_k", "log_shift"),
    [(2, -0.6507), (5, -1.5406), (10, -2.8312), (20, -4.8715), (30, -6.4118), (50, -8.5827), (100, -11.5040)],
)
def test_shift_factors_of_the_universal_law(above_k: float, log_shift: float) -> None:
    """Williams, Landel & Ferry 1955; Ferry, ch. 11: log a_T of the universal constants, here from T to T_g + 20 K."""
    rate = softening_rate(np.array([100.0 + above_k]), GLASS)[0]

    assert np.log10(rate) == pytest.approx(-log_shift - 4.8715, abs=1e-4)


def test_polystyrene_at_120_degrees() -> None:
    """Rosen, Fundamental Principles of Polymeric Materials, 2nd ed., p. 339: a_T = 1.34e-5 at T_g + 20 K."""
    shift = 10 ** (-UNIVERSAL_C1 * 20 / (UNIVERSAL_C2_K + 20))

    assert shift == pytest.approx(1.34e-5, abs=1e-7)


def test_ramp_against_the_closed_form() -> None:
    """A ramp of 1 K/s from T_g to T_g + 60 K: closed form (exponential integral of scipy) and quadrature agree."""
    a = C1 * np.log(10.0)

    def antiderivative(y: float) -> float:
        return float(y * np.exp(-a * C2_K / y) - a * C2_K * exp1(a * C2_K / y))

    closed = np.exp(a) * (antiderivative(C2_K + 40.0) - antiderivative(C2_K - 20.0))
    numeric, _ = quad(lambda above: float(softening_rate(np.array([100.0 + above]), GLASS)[0]), 1e-9, 60.0)

    assert numeric == pytest.approx(closed, rel=1e-6)


def test_nothing_softens_below_the_glass_transition() -> None:
    """At and below T_g the rate is nil."""
    assert softening_rate(np.array([20.0, 99.9, 100.0]), GLASS).tolist() == [0.0, 0.0, 0.0]


def test_a_warm_cold_end_softens_a_standing_strand_by_the_law() -> None:
    """Two hours with the cold end 15 K above glass: the law's rate times the time, and none with a cool one."""
    field = build_field(machine())
    warm, cool = np.array([25.0, 75.0, 195.0, 225.0]), np.array([25.0, 35.0, 195.0, 225.0])
    softened = field.advance(field.initial(warm), 7200.0, warm, [0.0])
    still = field.advance(field.initial(cool), 7200.0, cool, [0.0])
    rate = float(softening_rate(np.array([75.0]), np.array([60.0]))[0])

    assert field.softest_min(softened) == pytest.approx([120.0 * rate], rel=0.02)
    assert field.softest_min(still) == [0.0]


def test_a_zone_before_the_cold_end_changes_nothing() -> None:
    """Everything upstream of the first bridge must be stiff, however many zones that is."""
    plain = machine()
    feeder = Zone("feeder", 20.0, 2.0, WallLaw.AMBIENT)
    longer = replace(plain, zones=(feeder, *plain.zones), last_before_merge=3)
    warm = np.array([25.0, 75.0, 195.0, 225.0])
    doses = []
    for parameters in (plain, longer):
        field = build_field(parameters)
        doses += field.softest_min(field.advance(field.initial(warm), 7200.0, warm, [0.0]))

    assert doses[0] > 5.0
    assert doses[1] == pytest.approx(doses[0], rel=0.05)


def test_a_retraction_into_a_cool_cold_end_does_not_count() -> None:
    """What is drawn up hot sets again within seconds: routine retractions on a healthy machine soften nothing."""
    field = build_field(machine())
    cool = np.array([25.0, 35.0, 195.0, 225.0])
    state = field.initial(cool)
    for moved_mm in (-6.0, 0.0, 0.0, 6.5) * 5:
        state = field.advance(state, 1.0, cool, [moved_mm])

    assert field.softest_min(state) == [0.0]


def test_feeding_renews_what_has_softened() -> None:
    """Softened strand leaves the cold end with the feed; fresh strand has no dose."""
    field = build_field(machine())
    warm, cool = np.array([25.0, 75.0, 195.0, 225.0]), np.array([25.0, 35.0, 195.0, 225.0])
    state = field.advance(field.initial(warm), 7200.0, warm, [0.0])
    for _ in range(40):
        state = field.advance(state, 1.0, cool, [1.0])

    assert field.softest_min(state)[0] < 0.01


def test_a_fading_radiator_is_told_before_it_jams_a_strand() -> None:
    """The simulated night with a fading radiator warns of the most delicate strands first; a healthy night never."""
    parameters = demo_profile().parameters
    told: dict[str, list[tuple[int | None, Priority]]] = {"fading-radiator": [], "healthy-night": []}
    for name, changes in told.items():
        samples = (event for event in simulate(SCENARIOS[name], period_s=4.0) if isinstance(event, Sample))
        for step in run(samples, parameters):
            changes += [(c.alert.input, c.alert.priority) for c in step.transitions if c.alert.condition == "softening"]

    lowest = min(parameters.strands, key=lambda strand: strand.material.glass_c)
    assert told["healthy-night"] == []
    assert told["fading-radiator"][0] == (lowest.input, Priority.WARNING)
