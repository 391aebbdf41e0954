"""The whole mixed path against an independent solution of the same equation on a fine fixed grid (scipy's solve_ivp).

Standing, feeding at several speeds, retracting, and walls that change: the reference is Eulerian, central in space with
0.05 mm cells, implicit in time; it shares only the wall map and the exchange rates with the engine.
"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from monitor.core.assess_strand import soft_front_mm
from monitor.core.assessment import Array
from monitor.core.exchange import exchange_rate_per_s
from monitor.core.field_building import build_field
from monitor.core.hot_path import wall_map
from tests.machines import AMBIENT_C, GREY, machine

CELL_MM = 0.05
STEPS = [  # seconds, feed [mm/s], cold end and manifold at the end of the stretch [°C]
    (60, 0.0, 35.0, 195.0),
    (30, 0.5, 35.0, 195.0),
    (10, -0.4, 35.0, 195.0),
    (40, 2.0, 38.0, 190.0),
    (120, 0.0, 60.0, 205.0),
    (20, 1.0, 60.0, 205.0),
    (60, 0.0, 60.0, 205.0),
]


class _Reference:
    """The same strand on a fixed grid from the merge point to 8 mm beyond the path's end."""

    def __init__(self) -> None:
        self.parameters = machine()
        length_mm = self.parameters.path_length_mm
        self.x_mm = np.arange(CELL_MM / 2, length_mm + 8.0, CELL_MM)
        zones = self.parameters.zones[: self.parameters.last_before_merge + 1][::-1]
        ends_mm = np.cumsum([zone.length_mm for zone in zones])
        rates = np.array([exchange_rate_per_s(zone, 1.75, GREY) for zone in zones])
        self.rate = rates[np.minimum(np.searchsorted(ends_mm, self.x_mm, side="right"), len(zones) - 1)]
        self.weights = wall_map(self.parameters).at(self.x_mm)
        beyond = self.x_mm > length_mm
        self.weights[beyond] = [1.0, 0.0, 0.0, 0.0]

    def run(self, temp: Array, seconds: float, speed_mm_s: float, walls: tuple[Array, Array]) -> Array:
        """Temperatures after one stretch in which the walls run linearly."""

        def slope(time_s: float, now: Array) -> Array:
            wall = walls[0] + (walls[1] - walls[0]) * time_s / seconds
            padded = np.concatenate([[2 * wall[2] - now[0]], now, [2 * AMBIENT_C - now[-1]]])
            conduction = GREY.diffusivity_mm2_s * (padded[2:] - 2 * now + padded[:-2]) / CELL_MM**2
            carried = speed_mm_s * (padded[2:] - padded[:-2]) / (2 * CELL_MM)
            result: Array = conduction + carried + self.rate * (self.weights @ wall - now)
            return result

        done = solve_ivp(slope, (0.0, seconds), temp, method="LSODA", lband=1, uband=1, rtol=1e-6, atol=1e-4)
        last: Array = done.y[:, -1]
        return last


def test_soft_front_and_temperatures_on_the_mixed_path() -> None:
    """The soft front is right within 0.3 mm at the end of every stretch, temperatures within 1.5 K (r.m.s.)."""
    reference, field = _Reference(), build_field(machine())
    before = np.array([AMBIENT_C, 35.0, 195.0, 225.0])
    state = field.initial(before)
    fine = reference.run(reference.weights @ before, 600.0, 0.0, (before, before))
    for seconds, speed_mm_s, cold_c, manifold_c in STEPS:
        after = np.array([AMBIENT_C, cold_c, manifold_c, 225.0])
        fine = reference.run(fine, seconds, speed_mm_s, (before, after))
        for second in range(1, seconds + 1):
            state = field.advance(state, 1.0, before + (after - before) * second / seconds, [speed_mm_s])
        before = after
        x_mm, temp = field.centres_mm(state, 0), field.path_rows(state)[0][0]
        difference = temp - np.interp(x_mm, reference.x_mm, fine)
        front_mm = soft_front_mm(reference.x_mm, fine, GREY.glass_c)

        assert soft_front_mm(x_mm, temp, GREY.glass_c) == pytest.approx(front_mm, abs=0.3)
        assert np.sqrt((difference**2).mean()) < 1.5
