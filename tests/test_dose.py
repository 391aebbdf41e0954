"""Degradation dose against published equivalent-time and Arrhenius results.

The thermal-process cases use the log-linear law of canning practice, an exponential rate like ours, to test the
quadrature that all of them share.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from monitor.core.assessment import Array
from monitor.core.dose import GAS_CONSTANT_J_MOL_K, ZERO_C_K, cautious_law, hopeful_law
from monitor.core.parameters import Strand
from tests.machines import GREY
from tests.mean_rate import mean_rate

EV_KJ_MOL = 96.48533212331  # one electronvolt per particle (CODATA)


def _rate(temp_c: float, ea_kj_mol: float, reference_c: float) -> float:
    material = replace(
        GREY, ea_below_kj_mol=ea_kj_mol, ea_above_kj_mol=ea_kj_mol, ea_best_kj_mol=ea_kj_mol, reference_c=reference_c
    )
    law = cautious_law([Strand(1, material, dried=True)])
    return float(np.exp(law.log_rate(np.array([[temp_c]])))[0, 0])


def _equivalent_min(log_rate: Array, minutes: Array) -> float:
    return float((mean_rate(log_rate[:-1], log_rate[1:]) * np.diff(minutes)).sum())


@pytest.mark.parametrize(("ea_ev", "published", "tolerance"), [(0.5, 133.0, 1.0), (1.0, 17597.0, 5.0)])
def test_acceleration_factors(ea_ev: float, published: float, tolerance: float) -> None:
    """NIST/SEMATECH e-Handbook 8.1.5.1: 25 to 125 °C speeds up 133-fold at 0.5 eV, 17,597-fold at 1 eV."""
    assert _rate(125.0, ea_ev * EV_KJ_MOL, 25.0) == pytest.approx(published, abs=tolerance)


def test_acceleration_factor_of_a_life_test() -> None:
    """Yang, Life Cycle Reliability Engineering, example 7.1: 0.323 eV, 35 to 70 °C, factor 3.46."""
    assert _rate(70.0, 0.323 * EV_KJ_MOL, 35.0) == pytest.approx(3.46, abs=0.01)


def test_rate_ratio_at_body_temperature() -> None:
    """Atkins, Elements of Physical Chemistry, illustration 2: 50 kJ/mol, 25 to 37 °C, k ratio 2.18."""
    assert _rate(37.0, 50.0, 25.0) == pytest.approx(2.18, abs=0.01)


def test_reaction_time_between_two_known_temperatures() -> None:
    """K. M. Gupta, Materials Science, example 15.1: 500 min at 10 °C, 1 min at 80 °C, so 24.8 min at 40 °C."""
    inverse = 1 / (10 + 273.15) - 1 / (80 + 273.15)
    ea_kj_mol = np.log(500.0) / inverse * GAS_CONSTANT_J_MOL_K / 1000

    assert 500.0 / _rate(40.0, ea_kj_mol, 10.0) == pytest.approx(24.8, abs=0.05)


@pytest.mark.parametrize(
    ("temp_c", "computed"),
    [(150, 0.011049), (180, 0.185843), (200, 1.0), (210, 2.201592), (220, 4.694330), (240, 19.534314)],
)
def test_rates_of_the_arrhenius_equation(temp_c: float, computed: float) -> None:
    """Arrhenius equation, 150 kJ/mol about 200 °C, computed to six digits with R = 8.314462618 J/(mol K)."""
    assert _rate(temp_c, 150.0, 200.0) == pytest.approx(computed, rel=2e-6, abs=1e-6)


def test_ramp_against_the_closed_form() -> None:
    """Doyle's integral (ASTM E1641): 25 to 220 °C at 1 K/s, 150 kJ/mol about 200 °C, 60.0779 equivalent seconds."""
    law = cautious_law(
        [Strand(1, replace(GREY, ea_below_kj_mol=150, ea_above_kj_mol=150, reference_c=200), dried=True)]
    )
    log_rate = law.log_rate(np.arange(25.0, 221.0)[None, :])[0]
    numeric, _ = quad(
        lambda kelvin: np.exp(150e3 / GAS_CONSTANT_J_MOL_K * (1 / (200 + ZERO_C_K) - 1 / kelvin)),
        25 + ZERO_C_K,
        220 + ZERO_C_K,
    )

    assert numeric == pytest.approx(60.0779, abs=1e-3)
    assert _equivalent_min(log_rate, np.arange(196.0)) == pytest.approx(numeric, rel=2e-4)


LETHAL_RATES = {
    90: 0.001,
    95: 0.002,
    100: 0.008,
    105: 0.025,
    110: 0.078,
    115: 0.245,
    120: 0.776,
    125: 2.455,
    130: 7.762,
}


def _lethal_log_rate(temp_c: Array, z_k: float, reference_c: float) -> Array:
    scaled: Array = np.log(10.0) * (temp_c - reference_c) / z_k
    return scaled


@pytest.mark.parametrize(("temp_c", "printed"), LETHAL_RATES.items())
def test_lethal_rates_of_canning_tables(temp_c: float, printed: float) -> None:
    """Canning tables, z = 10 K, 121.1 °C: a steady minute at each temperature counts as printed to three decimals."""
    log_rate = _lethal_log_rate(np.array([temp_c, temp_c], float), 10.0, 121.1)

    assert _equivalent_min(log_rate, np.array([0.0, 1.0])) == pytest.approx(printed, abs=6e-4)


def test_process_in_steps() -> None:
    """Geankoplis, Transport Processes and Unit Operations, example 9.12-1: F0 = 2.68 min."""
    rates = np.exp(_lethal_log_rate(np.array([71.1, 98.9, 110.0]), 10.0, 121.1))

    assert float(rates @ [20.0, 20.0, 33.0]) == pytest.approx(2.68, abs=0.01)


def test_process_by_readings() -> None:
    """Geankoplis, example 9.12-2: seven readings in °F, F0 = 2.50 min; ours takes T as linear between, so 5 % less."""
    minutes = np.array([0.0, 15.0, 25.0, 30.0, 40.0, 50.0, 64.0])
    fahrenheit = np.array([80.0, 165.0, 201.0, 212.5, 225.0, 230.5, 235.0])

    assert _equivalent_min(_lethal_log_rate(fahrenheit, 18.0, 250.0), minutes) == pytest.approx(2.50, rel=0.05)


@pytest.mark.parametrize(("temp_c", "minutes", "published"), [(44, 10, 20), (45, 15, 60), (42, 60, 15), (41, 60, 3.75)])
def test_two_sided_law_in_thermal_medicine(temp_c: float, minutes: float, published: float) -> None:
    """Sapareto & Dewey 1984, CEM43: doubling per degree above 43 °C, quartering below; a two-sided law like ours."""
    log_rate = np.log(2.0 if temp_c >= 43 else 4.0) * (temp_c - 43.0)
    steady = np.array([log_rate, log_rate])

    assert _equivalent_min(steady, np.array([0.0, minutes])) == pytest.approx(published, rel=1e-12)


@given(temp_c=st.floats(20.0, 300.0))
def test_the_cautious_rate_is_never_below_the_hopeful_one(temp_c: float) -> None:
    """A low activation energy below the reference and a high one above it bound the best value from above."""
    strands = [Strand(1, GREY, dried=True)]
    temp = np.array([[temp_c]])

    assert cautious_law(strands).log_rate(temp)[0, 0] >= hopeful_law(strands).log_rate(temp)[0, 0] - 1e-12


def test_a_strand_not_known_to_be_dry_ages_faster() -> None:
    """The wet factor multiplies the cautious rate unless the owner says the strand is dry."""
    temp = np.full((1, 1), 200.0)
    dry = cautious_law([Strand(1, GREY, dried=True)]).log_rate(temp)
    wet = cautious_law([Strand(1, GREY, dried=False)]).log_rate(temp)

    assert float(np.exp(wet - dry)[0, 0]) == pytest.approx(GREY.wet_factor)


def test_activation_energies_the_wrong_way_round_are_refused() -> None:
    """A law whose energy below the reference is the higher one would not be cautious."""
    with pytest.raises(ValueError, match="ea_below_kj_mol 130"):
        cautious_law([Strand(1, replace(GREY, ea_below_kj_mol=130.0))])
