"""Conduction, fins and carried heat: worked examples of textbooks through the engine's own operators.

What `test_conduction.py` and `test_field.py` do not cover: surfaces with a film of fluid, with a given heat flux, heat
that arises inside, and a strand in a steady state between two ends. Where a book reads a chart, the tolerance is wide
enough for the chart and the exact value stands beside it.

Books: Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, 6th ed.; Holman, Heat Transfer; Geankoplis, Transport
Processes and Unit Operations; Kreith, Manglik & Bohn, Principles of Heat Transfer, 7th ed.; Versteeg & Malalasekera,
Introduction to Computational Fluid Dynamics, 2nd ed.
"""

import math
from dataclasses import dataclass

import numpy as np
import pytest

from monitor.core.assessment import Array
from monitor.core.propagator import Lattice, Modes, conduction_modes, step_matrix
from tests.test_field import _PlainRod, _rod

HELD, INSULATED = 0.0, math.inf
LONG_S = 1e9


@dataclass(frozen=True)
class _Bar:
    """A bar of equal cells from x = 0 on.

    `near_mm` and `far_mm` are the films on its faces, k / h [mm]: none holds the face, an infinite one insulates it.
    The engine's own faces are always held, at 0 and one cell beyond the last: the exchange rate of the first and last
    cell takes that away and puts the film in its place.
    """

    cells: int
    length_mm: float
    diffusivity_mm2_s: float
    near_mm: float = HELD
    far_mm: float = INSULATED
    rate_per_s: float = 0.0

    @property
    def grid(self) -> Lattice:
        return Lattice(self.cells, self.length_mm / self.cells)

    @property
    def modes(self) -> Modes:
        """Driven by temperatures of near fluid, far fluid and sides, a flux q/k [K/mm] into x = 0, a source [K/s]."""
        step_mm = self.grid.cell_mm
        plain = self.diffusivity_mm2_s / step_mm**2
        near, far = (self.diffusivity_mm2_s / step_mm / (step_mm / 2 + film) for film in (self.near_mm, self.far_mm))
        rate = np.full(self.cells, self.rate_per_s)
        rate[0] += near - plain / 0.5
        rate[-1] += far - plain / 1.5
        driven = np.zeros((self.cells, 5))
        driven[0, 0], driven[-1, 1], driven[:, 2] = near, far, self.rate_per_s
        driven[0, 3], driven[:, 4] = self.diffusivity_mm2_s / step_mm, 1.0
        return conduction_modes(self.grid, 0.0, self.diffusivity_mm2_s, rate, driven, np.zeros((2, 5)))

    def after(self, time_s: float, start_c: float | Array, drive: tuple[float, ...]) -> tuple[Array, Array]:
        """Centres of the cells [mm] and their temperatures after one step of the engine."""
        start = np.broadcast_to(np.asarray(start_c, float), (self.cells,))
        drive = (*drive, *[0.0] * (5 - len(drive)))
        return self.grid.centres_mm(0.0), step_matrix(self.modes, time_s) @ np.concatenate([start, drive, drive])

    def near_gradient(self, temp_c: Array, fluid_c: float) -> float:
        """Heat flow into x = 0 over the conductivity, q / k [K/mm]."""
        return float((fluid_c - temp_c[0]) / (self.grid.cell_mm / 2 + self.near_mm))


class TestSurfaces:
    """A thick body whose surface is given a heat flux or a fluid."""

    def test_steel_block_under_a_heat_flux(self) -> None:
        """Holman, example 4-2, second case: 3.2e5 W/m² into steel at 35 °C; 79.3 °C at 25 mm, 199.4 °C at 0, 30 s."""
        flux_k_mm = 3.2e5 / 45.0 / 1000
        x_mm, temp_c = _Bar(400, 400.0, 14.0, near_mm=INSULATED).after(30.0, 35.0, (0.0, 0.0, 0.0, flux_k_mm))

        assert np.interp(25.0, x_mm, temp_c) == pytest.approx(79.3, abs=0.1)
        assert temp_c[0] + flux_k_mm * x_mm[0] == pytest.approx(199.4, abs=0.1)

    def test_copper_slab_under_a_heat_flux(self) -> None:
        """Incropera, example 5.10: 3e5 W/m² into copper at 20 °C for 120 s; 120.0 °C at 0, 45.4 °C at 150 mm."""
        flux_k_mm = 3e5 / 401.0 / 1000
        x_mm, temp_c = _Bar(400, 1600.0, 117.0, near_mm=INSULATED).after(120.0, 20.0, (0.0, 0.0, 0.0, flux_k_mm))

        assert temp_c[0] + flux_k_mm * x_mm[0] == pytest.approx(120.0, abs=0.1)
        assert np.interp(150.0, x_mm, temp_c) == pytest.approx(45.4, abs=0.1)

    def test_soil_under_cold_air(self) -> None:
        """Geankoplis, example 5.3-1: soil at 15.6 °C, air at -17.8 °C, h = 11.36; surface at -5.2 °C after 5 h."""
        film_mm = 0.865 / 11.36 * 1000
        bar = _Bar(300, 900.0, 0.465, near_mm=film_mm)
        _, temp_c = bar.after(5 * 3600.0, 15.6, (-17.8,))

        assert -17.8 - bar.near_gradient(temp_c, -17.8) * film_mm == pytest.approx(-5.168, abs=0.05)


class TestPlaneWall:
    """A wall of half thickness L, insulated in its middle."""

    @pytest.mark.parametrize(
        ("biot", "zeta", "gain"),
        [
            (0.01, 0.0998, 1.0017),
            (0.1, 0.3111, 1.0161),
            (0.3, 0.5218, 1.0450),
            (0.5, 0.6533, 1.0701),
            (1.0, 0.8603, 1.1191),
            (2.0, 1.0769, 1.1785),
            (5.0, 1.3138, 1.2402),
            (10.0, 1.4289, 1.2620),
            (100.0, 1.5552, 1.2731),
        ],
    )
    def test_slowest_mode(self, biot: float, zeta: float, gain: float) -> None:
        """Incropera, table 5.1 (from memory): decay ζ² α / L² and amplitude C1 in the middle of the slowest mode."""
        modes = _Bar(200, 1.0, 1.0, near_mm=INSULATED, far_mm=1 / biot).modes
        slowest = int(np.argmax(modes.rates_per_s))
        shape = modes.shapes[:, slowest]

        assert math.sqrt(-modes.rates_per_s[slowest]) == pytest.approx(zeta, abs=1e-4)
        assert shape[0] * shape.sum() == pytest.approx(gain, abs=1.5e-4)

    def test_oil_carrying_pipe_wall(self) -> None:
        """Incropera, example 5.4: 40 mm steel at -20 °C, oil at 60 °C, h = 500, 8 min; 42.9 and 45.2 °C, 7400 W/m².

        The book keeps one term of the series; the whole series (scipy) gives 43.02 and 45.36 °C and 7318 W/m².
        """
        bar = _Bar(200, 40.0, 18.8, near_mm=63.9 / 500 * 1000)
        _, temp_c = bar.after(480.0, -20.0, (60.0,))
        inflow_w_m2 = bar.near_gradient(temp_c, 60.0) * 63.9 * 1000

        assert temp_c[-1] == pytest.approx(43.02, abs=0.02)
        assert temp_c[-1] == pytest.approx(42.9, abs=0.2)
        assert 60.0 - inflow_w_m2 / 500 == pytest.approx(45.36, abs=0.02)
        assert inflow_w_m2 == pytest.approx(7400, rel=0.015)

    @pytest.mark.parametrize(
        ("time_s", "printed_c", "tolerance_k"),
        [
            (1.5, (360.08, 359.41, 357.41, 354.07, 349.37, 343.27), 0.1),
            (LONG_S, (465.15, 463.82, 459.82, 453.15, 443.82, 431.82), 0.01),
        ],
    )
    def test_fuel_element(self, time_s: float, printed_c: tuple[float, ...], tolerance_k: float) -> None:
        """Incropera, example 5.9: a plate that makes 1e7 W/m³ is stepped to 2e7; six nodes after 1.5 s and in the end.

        The book marches with 2 mm and 0.3 s; the 0.1 K allow for that, not for us.
        """
        bar = _Bar(200, 10.0, 5.0, near_mm=INSULATED, far_mm=30.0 / 1100 * 1000)
        source_k_s = 1e7 * 5e-6 / 30.0
        x_mm, before_c = bar.after(LONG_S, 250.0, (0.0, 250.0, 0.0, 0.0, source_k_s))
        _, temp_c = bar.after(time_s, before_c, (0.0, 250.0, 0.0, 0.0, 2 * source_k_s))
        nodes_mm = np.array([0.0, 2.0, 4.0, 6.0, 8.0])

        assert np.interp(nodes_mm, x_mm, before_c) == pytest.approx([357.58, 356.91, 354.91, 351.58, 346.91], abs=0.01)
        assert np.interp(nodes_mm, x_mm, temp_c) == pytest.approx(printed_c[:5], abs=tolerance_k)

    def test_thermocouple_bead(self) -> None:
        """Incropera, example 5.1: a bead with a time constant of 1 s goes from 25 to 199 °C in 200 °C gas in 5.2 s."""
        _, temp_c = _Bar(9, 1.0, 1e-9, near_mm=INSULATED, rate_per_s=1.0).after(5.165, 25.0, (0.0, 0.0, 200.0))

        assert temp_c == pytest.approx(199.0, abs=0.01)


def _fin(bar: _Bar, conductivity: float, area_mm2: float, base_c: float, air_c: float) -> float:
    """Heat that a fin takes up at its base in the end [W]."""
    _, temp_c = bar.after(LONG_S, air_c, (base_c, air_c, air_c))
    return bar.near_gradient(temp_c, base_c) * conductivity * area_mm2 / 1000


class TestFins:
    """A rod that is held at its base and loses heat to the sides: the strand in its channel."""

    def test_five_cells(self) -> None:
        """Versteeg & Malalasekera, example 4.3 with five cells: our stencil gives their numbers, node by node."""
        _, temp_c = _Bar(5, 1000.0, 100.0, rate_per_s=100.0 * 25e-6).after(LONG_S, 20.0, (100.0, 20.0, 20.0))

        assert temp_c == pytest.approx([64.22, 36.91, 26.50, 22.60, 21.30], abs=0.01)

    @pytest.mark.parametrize(
        ("conductivity", "heat_w", "length_m"), [(398.0, 8.3, 0.19), (180.0, 5.6, 0.13), (14.0, 1.6, 0.04)]
    )
    def test_very_long_rods(self, conductivity: float, heat_w: float, length_m: float) -> None:
        """Incropera, example 3.9: 5 mm rods of copper, aluminium, steel, h = 100, 100 °C in 25 °C air; 8.3, 5.6, 1.6 W.

        A rod of the length the book calls long enough, 2.65 / m, gives off 99 % of that.
        """
        per_mm = math.sqrt(4 * 100 / (conductivity * 5e-3)) / 1000
        heat = [
            _fin(_Bar(400, length, 100.0, rate_per_s=100.0 * per_mm**2), conductivity, math.pi * 2.5**2, 100.0, 25.0)
            for length in (12 / per_mm, 2.65 / per_mm)
        ]

        assert heat[0] == pytest.approx(heat_w, abs=0.05)
        assert heat[1] / heat[0] == pytest.approx(0.99, abs=0.002)
        assert 2.65 / per_mm / 1000 == pytest.approx(length_m, abs=0.005)

    @pytest.mark.parametrize(
        ("length_mm", "tip_mm", "printed_w"), [(2000.0, INSULATED, 0.865), (25.0, 396.0 / 10 * 1000, 0.140)]
    )
    def test_pin(self, length_mm: float, tip_mm: float, printed_w: float) -> None:
        """Kreith, example 2.6: a 2.5 mm copper pin, h = 10, 95 °C in 25 °C air; endless 0.865 W, 25 mm long 0.140 W."""
        rate_per_s = 100.0 * 4 * 10 / (396.0 * 2.5e-3) * 1e-6
        bar = _Bar(400, length_mm, 100.0, far_mm=tip_mm, rate_per_s=rate_per_s)

        assert _fin(bar, 396.0, math.pi * 1.25**2, 95.0, 25.0) == pytest.approx(printed_w, abs=1e-3)

    def test_aluminium_fin(self) -> None:
        """Holman, example 2-8: 3 mm x 75 mm aluminium, h = 10, 300 °C in 50 °C air; 359 W for a metre of width."""
        rate_per_s = 100.0 * 2 * 10 / (200.0 * 3e-3) * 1e-6
        bar = _Bar(400, 75.0, 100.0, far_mm=200.0 / 10 * 1000, rate_per_s=rate_per_s)

        assert _fin(bar, 200.0, 3.0 * 1000, 300.0, 50.0) == pytest.approx(359.4, abs=1.0)


@pytest.mark.parametrize(
    ("peclet", "printed"),
    [(1.0, (0.9387, 0.7963, 0.6224, 0.4100, 0.1505)), (25.0, (1.0, 1.0, 1.0, 0.9994, 0.9179))],
)
def test_steady_strand_between_two_ends(peclet: float, printed: tuple[float, ...]) -> None:
    """Versteeg & Malalasekera, example 5.1: 1 at the inlet, 0 at the outlet, convection and diffusion, exact values."""
    length_mm, cells, diffusivity, step_s = 10.0, 99, 0.1, 4.0 / peclet**0.5
    field = _rod(_PlainRod(Lattice(cells, length_mm / (cells + 1)), diffusivity))
    speed_mm_s = peclet * diffusivity / length_mm
    walls = np.array([1.0, 0.0])  # the far end is the inlet
    state = field.initial(walls)
    for _ in range(150):  # settles within a few times L² / α / (π² + Pe² / 4), or the way through
        state = field.advance(state, step_s, walls, [speed_mm_s * step_s])
    along_mm = length_mm - field.centres_mm(state, 0)[::-1]
    at = np.interp(np.array([0.1, 0.3, 0.5, 0.7, 0.9]) * length_mm, along_mm, field.path_rows(state)[0][0][::-1])

    assert at == pytest.approx(printed, abs=3e-3)
