"""Conduction along a strand against published solutions.

Books: Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, 6th ed.; Holman, Heat Transfer; Carslaw & Jaeger,
Conduction of Heat in Solids, 2nd ed.; Versteeg & Malalasekera, Introduction to CFD, 2nd ed.; Crank, The Mathematics of
Diffusion. Where a book prints no number the formula is theirs and the value is computed with scipy.
"""

import numpy as np
import pytest
from scipy.linalg import expm
from scipy.special import erfc

from monitor.core.assessment import Array
from monitor.core.propagator import Lattice, conduction_modes, step_matrix

HOT_END, FAR_END = 0, 1


def _march(
    length_mm: float,
    cells: int,
    diffusivity_mm2_s: float,
    rate_per_s: float,
    start: Array | float,
    walls: tuple[float, float, float],
    times: tuple[float, int],
) -> tuple[Array, Array]:
    """Places and temperatures after a number of equal steps; walls = (hot face, far face, lateral)."""
    grid = Lattice(cells, length_mm / (cells + 1))
    driven = np.zeros((cells, 3))
    driven[:, 2] = rate_per_s
    modes = conduction_modes(grid, 0.0, diffusivity_mm2_s, np.full(cells, rate_per_s), driven, np.eye(3)[:2])
    matrix = step_matrix(modes, times[0])
    temp = np.broadcast_to(np.asarray(start, float), (cells,))
    for _ in range(times[1]):
        temp = matrix @ np.concatenate([temp, walls, walls])
    return grid.centres_mm(0.0), temp


def test_steel_block_with_a_stepped_surface() -> None:
    """Holman, example 4-2: steel at 35 °C, surface stepped to 250 °C, 118.5 °C at 25 mm after 30 s."""
    x_mm, temp_c = _march(400.0, 800, 14.0, 0.0, 35.0, (250.0, 35.0, 0.0), (30.0, 1))

    assert np.interp(25.0, x_mm, temp_c) == pytest.approx(118.5, abs=0.1)


def test_frost_depth_in_soil() -> None:
    """Incropera, example 5.6: soil at 20 °C, surface at -15 °C for 60 days, 0 °C reaches 0.68 m."""
    day_s = 86400.0
    x_mm, temp_c = _march(8000.0, 800, 0.138, 0.0, 20.0, (-15.0, 20.0, 0.0), (day_s, 60))

    assert np.interp(0.0, temp_c, x_mm) / 1000 == pytest.approx(0.68, abs=0.005)


def test_semi_infinite_strand_against_erfc() -> None:
    """Carslaw & Jaeger, section 2.5: a unit step reaches x as erfc(x / 2 sqrt(α t)); error of the grid alone."""
    x_mm, temp = _march(40.0, 96, 0.1, 0.0, 0.0, (1.0, 0.0, 0.0), (10.0, 30))

    assert np.abs(temp - erfc(x_mm / (2 * np.sqrt(0.1 * 300)))).max() < 4e-4


@pytest.mark.parametrize(
    ("fourier", "published"), [(0.01, 0.999186), (0.05, 0.772312), (0.1, 0.474487), (0.2, 0.176867), (0.5, 0.00915699)]
)
def test_rod_cooling_at_both_ends(fourier: float, published: float) -> None:
    """Carslaw & Jaeger, section 3.3; Crank, section 4.3: middle of a rod whose ends are held at 0."""
    x_mm, temp = _march(40.0, 399, 0.1, 0.0, 1.0, (0.0, 0.0, 0.0), (fourier * 40.0**2 / 0.1, 1))

    assert np.interp(20.0, x_mm, temp) == pytest.approx(published, abs=3e-5)


def test_fin_with_insulated_tip() -> None:
    """Versteeg & Malalasekera, example 4.3: hP/kA = 25 /m², 100 °C base in 20 °C air, analytic temperatures.

    The insulated tip is the middle of a fin twice as long with both ends at 100 °C.
    """
    x_mm, temp_c = _march(2000.0, 399, 100.0, 100.0 * 25e-6, 20.0, (100.0, 100.0, 20.0), (1e6, 1))

    at = np.interp([100.0, 300.0, 500.0, 700.0, 900.0], x_mm, temp_c)
    assert at == pytest.approx([68.52, 37.86, 26.61, 22.53, 21.21], abs=0.02)


def test_very_long_copper_rod() -> None:
    """Incropera, example 3.9: 5 mm copper rod, h = 100, k = 398, 100 °C in 25 °C air; 61.915 °C at 50 mm (formula)."""
    m_per_mm = np.sqrt(100 * 4 / (398 * 5e-3)) / 1000
    x_mm, temp_c = _march(1000.0, 999, 100.0, 100.0 * m_per_mm**2, 25.0, (100.0, 25.0, 25.0), (1e6, 1))

    assert np.interp(50.0, x_mm, temp_c) == pytest.approx(61.915, abs=0.01)


def test_transient_fin() -> None:
    """Carslaw & Jaeger, section 4.2: rod with radiation, end stepped to 1; α = 1e-7 m²/s, λ = 1e-3 /s, t = 300 s."""
    x_mm, temp = _march(60.0, 239, 0.1, 1e-3, 0.0, (1.0, 0.0, 0.0), (1.0, 300))

    at = np.interp([1.0, 2.0, 5.0, 10.0, 20.0], x_mm, temp)
    assert at == pytest.approx([0.872544, 0.755077, 0.462671, 0.164215, 0.007700], abs=3e-4)


def test_lumped_ball() -> None:
    """Holman, example 4-1: a 50 mm steel ball, λ = 3.344e-4 /s, cools from 450 to 150 °C in 100 °C air in 5819 s."""
    rate_per_s = 10 * 6 / (7800 * 460 * 0.05)
    _, temp_c = _march(1000.0, 9, 1e-9, rate_per_s, 450.0, (100.0, 100.0, 100.0), (5819.0, 1))

    assert temp_c[4] == pytest.approx(150.0, abs=0.02)


def test_wall_ramp_lags_exactly() -> None:
    """Exponential lag on a 1 K/s ramp with λ = 0.25 /s for 60 s: 4 (1 - e^-15) K (linear differential equation)."""
    grid = Lattice(9, 100.0)
    modes = conduction_modes(grid, 0.0, 1e-9, np.full(9, 0.25), np.full((9, 1), 0.25), np.ones((2, 1)))
    matrix, temp = step_matrix(modes, 1.0), np.zeros(9)
    for second in range(60):
        temp = matrix @ np.concatenate([temp, [second, second + 1.0]])

    assert 60.0 - temp[4] == pytest.approx(4 * (1 - np.exp(-15)), abs=1e-9)


def test_step_is_the_matrix_exponential() -> None:
    """The propagator equals scipy's expm of the same operator to rounding, at any sub-cell position."""
    grid = Lattice(48, 0.75)
    rng = np.random.default_rng(3)
    rate = rng.uniform(0.01, 0.7, 48)
    for place in (0.0, 0.3, 0.9):
        modes = conduction_modes(grid, place, 0.1, rate, rate[:, None], np.ones((2, 1)))
        operator = (modes.shapes * modes.rates_per_s) @ modes.shapes.T

        assert np.abs(step_matrix(modes, 2.5)[:, :48] - expm(2.5 * operator)).max() < 1e-13


def test_uniform_walls_stay_uniform() -> None:
    """A strand as warm as all its walls keeps its temperature over any step (first law)."""
    for place in (0.0, 0.4, 0.99):
        modes = conduction_modes(
            Lattice(80, 0.65), place, 0.1, np.full(80, 0.2), np.full((80, 1), 0.2), np.ones((2, 1))
        )
        after = step_matrix(modes, 1000.0) @ np.concatenate([np.full(80, 200.0), [200.0, 200.0]])

        assert after == pytest.approx(200.0, abs=1e-9)
