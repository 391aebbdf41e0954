"""Equivalent time and softening: published numbers through the engine's own laws, integrator and field.

What `test_dose.py` and `test_softening.py` do not cover. Canning and thermal medicine use exponential laws like ours;
where a whole process is published, the field itself marches through it with that law in place of its own.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import exp1

from monitor.core import softening
from monitor.core.assessment import Array
from monitor.core.dose import GAS_CONSTANT_J_MOL_K, ZERO_C_K, DoseLaw, cautious_law
from monitor.core.field_building import build_field
from monitor.core.forecast import standing_left_s
from monitor.core.parameters import Strand
from monitor.core.softening import UNIVERSAL_C1, UNIVERSAL_C2_K, softening_rate
from monitor.materials.known import load_materials
from tests.machines import GREY, machine
from tests.mean_rate import mean_rate

LN_10 = math.log(10.0)


def _law(ea_kj_mol: float, reference_c: float) -> DoseLaw:
    """The engine's law with one activation energy."""
    material = replace(GREY, ea_below_kj_mol=ea_kj_mol, ea_above_kj_mol=ea_kj_mol, reference_c=reference_c)
    return cautious_law([Strand(1, material, dried=True)])


def _log_rate(law: DoseLaw, temp_c: float | list[float] | Array) -> Array:
    row: Array = law.log_rate(np.atleast_2d(np.asarray(temp_c, float)))[0]
    return row


def _rate(law: DoseLaw, temp_c: float) -> float:
    return math.exp(_log_rate(law, temp_c)[0])


def _integral(log_rate: Array, steps: Array | float) -> float:
    """The engine's quadrature over samples that lie `steps` apart."""
    return float((mean_rate(log_rate[:-1], log_rate[1:]) * steps).sum())


@dataclass(frozen=True)
class _LogLinear:
    """ln(rate) of canning practice: tenfold for every `z_k`."""

    z_k: float
    reference_c: float

    def log_rate(self, temp_c: Array) -> Array:
        scaled: Array = LN_10 * (np.asarray(temp_c, float) - self.reference_c) / self.z_k
        return scaled


def _field_dose_min(law: _LogLinear, minutes: list[float], temp_c: list[float]) -> float:
    """Dose that the field gives a standing strand all of whose walls run linearly through the readings.

    Taken where the strand is wetted and follows its wall within seconds.
    """
    field = build_field(machine())
    field = replace(field, law=law, laws=(law,))  # type: ignore[arg-type]  # the same method, another law
    state = field.initial(np.full(4, temp_c[0]))
    for begin, end, before_c, after_c in zip(minutes, minutes[1:], temp_c, temp_c[1:], strict=False):
        parts = max(1, round((end - begin) * 10))
        for part in range(1, parts + 1):
            walls = np.full(4, before_c + (after_c - before_c) * part / parts)
            state = field.advance(state, (end - begin) * 60.0 / parts, walls, [0.0])
    return float(field.path_rows(state)[1][0, 2])


class TestWholeProcesses:
    """Published processes, marched by the field."""

    def test_steps(self) -> None:
        """Geankoplis, example 9.12-1: 20 min at 71.1 °C, 20 at 98.9, 33 at 110; z = 10 K at 121.1 °C: F0 = 2.68 min."""
        minutes = [0.0, 20.0, 20.05, 40.05, 40.1, 73.1]
        found = _field_dose_min(_LogLinear(10.0, 121.1), minutes, [71.1, 71.1, 98.9, 98.9, 110.0, 110.0])

        assert found == pytest.approx(2.68, abs=0.01)

    def test_readings(self) -> None:
        """Geankoplis, example 9.12-2: seven readings, F0 = 2.50 min by trapezoids.

        Between readings the field lets the temperature run straight, which gives 2.385 (quadrature by scipy): the gap
        to the book comes of its few readings, and the engine hits its own definition.
        """
        minutes = [0.0, 15.0, 25.0, 30.0, 40.0, 50.0, 64.0]
        temp_c = [(f - 32.0) / 1.8 for f in (80.0, 165.0, 201.0, 212.5, 225.0, 230.5, 235.0)]
        law = _LogLinear(10.0, (250.0 - 32.0) / 1.8)
        exact, _ = quad(
            lambda at: math.exp(float(law.log_rate(np.array(np.interp(at, minutes, temp_c))))),
            0.0,
            64.0,
            points=minutes[1:-1],
        )

        assert exact == pytest.approx(2.385, abs=1e-3)
        assert _field_dose_min(law, minutes, temp_c) == pytest.approx(exact, abs=0.01)
        assert np.trapezoid(np.exp(law.log_rate(np.array(temp_c))), minutes) == pytest.approx(2.50, abs=0.02)

    def test_destruction_of_spores(self) -> None:
        """Thermal-death-time example (Marcel Dekker 1992): 60 min at 235 °F, z = 17.5 °F, are 0.6 min at 270 °F."""
        law = _LogLinear(17.5 / 1.8, (270.0 - 32.0) / 1.8)
        held_c = (235.0 - 32.0) / 1.8

        assert _field_dose_min(law, [0.0, 60.0], [held_c, held_c]) == pytest.approx(0.6, rel=5e-3)

    @pytest.mark.parametrize(
        ("temp_c", "reference_c", "printed"),
        [(101.1, 121.1, 0.01), (111.1, 121.1, 0.1), (121.1, 121.1, 1.0), (118.0, 121.1, 0.490), (110.0, 121.11, 0.077)],
    )
    def test_lethal_rates(self, temp_c: float, reference_c: float, printed: float) -> None:
        """A minute at each temperature, as canning tables and an encyclopaedia's article on the F value print it."""
        found = _field_dose_min(_LogLinear(10.0, reference_c), [0.0, 1.0], [temp_c, temp_c])

        assert found == pytest.approx(printed, abs=6e-4)

    @pytest.mark.parametrize(("temp_c", "minutes"), [(50.0, 1.875), (56.0, 1.758 / 60.0)])
    def test_ablation(self, temp_c: float, minutes: float) -> None:
        """Sapareto & Dewey 1984: 240 CEM43 are reached after 1.875 min at 50 °C, after 1.758 s at 56 °C (computed)."""
        doubling = _LogLinear(LN_10 / math.log(2.0), 43.0)
        rate = np.exp(doubling.log_rate(np.array([temp_c])))

        assert standing_left_s(np.zeros(1), rate, 240.0) / 60.0 == pytest.approx(minutes, rel=3e-4)


class TestArrhenius:
    """Published results of the Arrhenius equation."""

    def test_activation_energy_of_a_gas_reaction(self) -> None:
        """Atkins, Elements of Physical Chemistry, exercise E3: ln k of eight temperatures, 188 kJ/mol, A = 1.1e12.

        With that energy our ln(rate) is a straight line of slope 1 against theirs.
        """
        kelvin = np.array([700.0, 730.0, 760.0, 790.0, 810.0, 840.0, 910.0, 1000.0])
        log_k = np.log([0.011, 0.035, 0.105, 0.343, 0.789, 2.17, 20.0, 145.0])
        ours = _log_rate(_law(188.0, 800.0 - ZERO_C_K), kelvin - ZERO_C_K)
        slope, offset = np.polyfit(ours, log_k, 1)
        log_factor = offset + slope * 188e3 / (GAS_CONSTANT_J_MOL_K * 800.0)

        assert slope == pytest.approx(1.0, abs=1.0 / 188.0)
        assert math.exp(log_factor) == pytest.approx(1.1e12, rel=0.03)

    @pytest.mark.parametrize(("factor", "months", "days"), [(2.0, 2.6, 79.0), (4.0, 0.57, 17.0)])
    def test_shelf_life(self, factor: float, months: float, days: float) -> None:
        """Table of a stability laboratory: a year at 23 °C is passed in 79 days at 45 °C at Q10 = 2, 17 days at 4."""
        law = _LogLinear(10.0 * LN_10 / math.log(factor), 23.0)
        year_min = 365.25 * 24 * 60.0
        left_days = standing_left_s(np.zeros(1), np.exp(law.log_rate(np.array([45.0]))), year_min) / 86400.0

        assert left_days == pytest.approx(days, abs=0.5)
        assert left_days / 365.25 * 12 == pytest.approx(months, abs=0.03)

    def test_mean_kinetic_temperature(self) -> None:
        """USP <1160>: ΔH = 83.144 kJ/mol; equal times at 20 and 30 °C age like 26.26 °C (computed from the formula)."""
        law = _law(83.144, 25.0)
        mean = _integral(_log_rate(law, [20.0, 20.0]), 0.5) + _integral(_log_rate(law, [30.0, 30.0]), 0.5)

        assert _rate(law, 26.260) == pytest.approx(mean, rel=1.5e-3)
        assert _rate(law, 26.25) < mean < _rate(law, 26.27)

    def test_polylactide_between_two_melts(self) -> None:
        """Ind. Eng. Chem. Res. 35, 732 (1996): 119.4 kJ/mol from 180 to 210 °C; ageing is 7.154 times as fast."""
        material = load_materials().material("PLA")
        law = _law(material.ea_best_kj_mol, material.reference_c)

        assert material.ea_best_kj_mol == 119.4
        assert _rate(law, 210.0) / _rate(law, 180.0) == pytest.approx(7.154, rel=5e-3)

    @pytest.mark.parametrize(
        ("x", "printed"),
        [(8, 5.3699), (10, 6.4168), (15, 8.9182), (20, 11.3277), (25, 13.6855), (30, 16.0103), (40, 20.5966)],
    )
    def test_heating_from_the_cold(self, x: float, printed: float) -> None:
        """ASTM E1641, table 1 (8 and 20), and e^-x/x - E1(x) by scipy: -log10 p(x) of a steady heating up to E/RT = x.

        Doyle's integral is what our quadrature makes of a ramp from absolute zero.
        """
        ea_over_r = 150e3 / GAS_CONSTANT_J_MOL_K
        kelvin = np.linspace(ea_over_r / x / 12, ea_over_r / x, 4001)
        log_rate = -ea_over_r / kelvin
        p = _integral(log_rate, np.diff(kelvin)) / ea_over_r

        assert math.log10(math.exp(-x) / x - exp1(x)) == pytest.approx(-printed, abs=1e-4)
        assert -math.log10(p) == pytest.approx(printed, abs=1e-4)

    def test_thermal_endurance(self) -> None:
        """ASTM E1641 and E1877: 150 kJ/mol, A = 1e11 /s, 5 K/min, 5 % conversion.

        Heated at 5 K/min it is reached at 538.467 K; the temperature index for 60,000 h is 379.89 K; at 250 °C it takes
        0.13503 h (formulas of the standards, computed with scipy).
        """
        reference_k = 500.0
        law = _law(150.0, reference_k - ZERO_C_K)
        at_reference_s = -math.log(0.95) / (1e11 * math.exp(-150e3 / (GAS_CONSTANT_J_MOL_K * reference_k)))
        kelvin = np.arange(250.0, 560.0, 0.05)
        log_rate = _log_rate(law, kelvin - ZERO_C_K)
        reached_s = np.cumsum(mean_rate(log_rate[:-1], log_rate[1:])) * (0.05 * 60.0 / 5.0)
        held_s = standing_left_s(np.zeros(1), np.exp(_log_rate(law, 250.0)), at_reference_s / 60.0)
        index_s = [
            standing_left_s(np.zeros(1), np.exp(_log_rate(law, kelvin - ZERO_C_K)), at_reference_s / 60.0)
            for kelvin in (379.88, 379.90)
        ]

        assert np.interp(at_reference_s, reached_s, kelvin[1:]) == pytest.approx(538.467, abs=0.01)
        assert held_s / 3600.0 == pytest.approx(0.13503, abs=1e-5)
        assert index_s[0] / 3600.0 > 60_000 > index_s[1] / 3600.0

    @pytest.mark.parametrize(
        ("frequency_per_s", "ea_kj_mol", "temp_c", "share", "minutes"),
        [(8.6e12, 188.0, 250.0, 0.99, 114.9), (1e14, 219.0, 240.0, 0.5, 3.8e4 * 60)],
    )
    def test_loss_of_mass(
        self, frequency_per_s: float, ea_kj_mol: float, temp_c: float, share: float, minutes: float
    ) -> None:
        """Published fire-model inputs: PMMA loses 1 % in 115 min at 250 °C; ABS half in 3.8e4 h at 240 °C (computed).

        The latter is why energies from loss of mass are not used for strands.
        """
        law = _law(ea_kj_mol, 300.0)
        per_s = frequency_per_s * math.exp(-ea_kj_mol * 1e3 / (GAS_CONSTANT_J_MOL_K * (300.0 + ZERO_C_K)))
        limit_min = -math.log(share) / per_s / 60.0

        left_s = standing_left_s(np.zeros(1), np.exp(_log_rate(law, temp_c)), limit_min)
        assert left_s / 60.0 == pytest.approx(minutes, rel=0.01)

    @given(st.floats(40.0, 250.0), st.floats(120.0, 300.0), st.floats(120.0, 300.0), st.floats(120.0, 300.0))
    def test_the_reference_is_a_unit_and_nothing_else(
        self, ea_kj_mol: float, one_c: float, other_c: float, temp_c: float
    ) -> None:
        """Another reference temperature changes all rates of a single energy by one factor (Arrhenius equation)."""
        one, other = _law(ea_kj_mol, one_c), _law(ea_kj_mol, other_c)
        factor = _log_rate(one, temp_c)[0] - _log_rate(other, temp_c)[0]

        assert factor == pytest.approx(_log_rate(one, other_c)[0], abs=1e-9)


class TestSoftening:
    """The law of Williams, Landel and Ferry."""

    @pytest.mark.parametrize(
        ("above_k", "log_shift"), [(40, -7.6157), (80, -10.6018), (120, -12.1958), (150, -12.9762)]
    )
    def test_shift_factors(self, above_k: float, log_shift: float) -> None:
        """Williams, Landel & Ferry 1955, universal constants, from T to T_g + 20 K (where it is -4.8715)."""
        rate = softening_rate(np.array([100.0 + above_k]), np.array([100.0]))[0]

        assert math.log10(rate) == pytest.approx(-log_shift - 4.8715, abs=1e-4)

    def test_reduced_time_of_a_propellant(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """A worked slide of a rocket centre: log a_T = -(5.82 T - 416.42)/(197.3 + T) in °F; 48 h at -30 °F.

        log t = 3.459, log a_T = 3.533, reduced time 10^-0.074 min. Our law with those constants about the 71.55 °F
        where they make a_T = 1.
        """
        unity_f = 416.42 / 5.82
        monkeypatch.setattr(softening, "C1", 5.82)
        monkeypatch.setattr(softening, "C2_K", (197.3 + unity_f) / 1.8)
        monkeypatch.setattr(softening, "REFERENCE_ABOVE_GLASS_K", 100.0)  # far enough for the cold to count
        rate = softening_rate(np.array([(-30.0 - unity_f) / 1.8]), np.array([-100.0]))[0]

        assert math.log10(48 * 60.0) == pytest.approx(3.459, abs=1e-3)
        assert -math.log10(rate) == pytest.approx(3.533, abs=1e-3)
        assert math.log10(48 * 60.0 * rate) == pytest.approx(-0.074, abs=1e-3)

    def test_free_volume_at_the_glass_transition(self) -> None:
        """Ferry: the constants stand for 2.5 % of free volume at T_g: 1 / (2.303 C1) = 0.025."""
        assert pytest.approx(0.025, abs=5e-4) == 1 / (LN_10 * UNIVERSAL_C1)

    @pytest.mark.parametrize("above_k", [1.0, 20.0, 70.0, 150.0])
    def test_the_law_of_vogel_fulcher_and_tammann(self, above_k: float) -> None:
        """Ferry, chapter 11: the same law as ln a_T = B (1/(T - T0) - 1/C2), B = 2072.11 K, T0 = T_g - 51.6 K."""
        b_k = LN_10 * UNIVERSAL_C1 * UNIVERSAL_C2_K
        log_rate = b_k * (1 / (UNIVERSAL_C2_K + 20.0) - 1 / (UNIVERSAL_C2_K + above_k))

        assert b_k == pytest.approx(2072.11, abs=0.01)
        assert softening_rate(np.array([above_k]), np.zeros(1))[0] == pytest.approx(math.exp(log_rate), rel=1e-12)

    def test_apparent_activation_energy_at_the_glass_transition(self) -> None:
        """2.303 R C1 T_g²/C2 is 901 kJ/mol at T_g = 373.15 K: no Arrhenius law fits there (Ferry, ch. 11; computed)."""
        step_k = 1e-4
        log_rate = np.log(softening_rate(np.array([100.0 + step_k, 100.0 + 3 * step_k]), np.array([100.0])))
        per_k = (log_rate[1] - log_rate[0]) / (2 * step_k)

        assert GAS_CONSTANT_J_MOL_K * 373.15**2 * per_k / 1000 == pytest.approx(901.0, abs=1.0)

    @pytest.mark.parametrize("above_k", [0.001, 20.0, 50.0, 100.0])
    def test_the_form_about_fifty_kelvin_above(self, above_k: float) -> None:
        """Williams, Landel & Ferry 1955: 8.86 and 101.6 K about T_g + 50 K say the same within 0.004 of a decade."""
        ours = np.log10(softening_rate(np.array([above_k, 50.0]), np.zeros(1)))
        theirs = 8.86 * (above_k - 50.0) / (101.6 + above_k - 50.0)

        assert ours[0] - ours[1] == pytest.approx(theirs, abs=4e-3)

    def test_polyethylene_from_190_to_200_degrees(self) -> None:
        """Rao & Schumacher, Design Formulas for Plastics Engineers, WLF of LDPE, T_s = -133 °C: log a_T = -0.0488."""
        rates = softening_rate(np.array([190.0, 200.0]), np.array([-133.0 - 50.0]))

        assert math.log10(rates[0] / rates[1]) == pytest.approx(-0.0488, abs=2e-4)

    @pytest.mark.parametrize(
        ("span_k", "reference_above_k", "seconds"),
        [(20.0, 0.0, 172_486.5824), (60.0, 80.0, 0.3242684), (100.0, 100.0, 9.7473189)],
    )
    def test_ramps(self, span_k: float, reference_above_k: float, seconds: float) -> None:
        """A ramp of 1 K/s from T_g by the exponential integral (scipy), told at T_g, T_g + 80 K and T_g + 100 K."""
        law = [UNIVERSAL_C1 * above_k / (UNIVERSAL_C2_K + above_k) for above_k in (reference_above_k, 20.0)]
        told_at = 10.0 ** (law[0] - law[1])
        numeric, _ = quad(lambda above: float(softening_rate(np.array([above]), np.zeros(1))[0]), 1e-9, span_k)

        assert numeric / told_at == pytest.approx(seconds, rel=1e-6)

    def test_a_cold_end_that_warms_slowly(self) -> None:
        """The field on a ramp of 36 K/h from T_g to T_g + 20 K: 172,486.6 s at T_g for each K/s, as the closed form.

        A step counts by the wall at its end, which makes 1 % more at 0.05 K a step.
        """
        field = build_field(machine())
        glass_c, steps, step_s = GREY.glass_c, 400, 5.0
        walls = np.array([25.0, glass_c, 195.0, 225.0])
        state = field.initial(walls)
        for step in range(1, steps + 1):
            walls = np.array([25.0, glass_c + 20.0 * step / steps, 195.0, 225.0])
            state = field.advance(state, step_s, walls, [0.0])
        slower = steps * step_s / 20.0
        at_glass = 10.0 ** (UNIVERSAL_C1 * 20.0 / (UNIVERSAL_C2_K + 20.0))

        assert field.softest_min(state)[0] * 60.0 * at_glass / slower == pytest.approx(172_486.6, rel=0.015)
