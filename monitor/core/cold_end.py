"""Temperature of a cold end that has no sensor: one lump of metal between the manifold and the coolant.

    C dT/dt = G_m (T_m - T) + G_c (T_c - T) + heat that the strands carry up

solved exactly for constant neighbours. An estimate, always marked as one; a sensor value that arrives replaces it, and
the estimate goes on from there.
"""

import math
from dataclasses import dataclass

import numpy as np

from monitor.core.assessment import Array
from monitor.core.exchange import exchange_rate_per_s, stored_j_m_k
from monitor.core.hot_path import zone_places
from monitor.core.parameters import ColdEnd, Parameters, WallLaw
from monitor.core.propagator import Lattice


@dataclass(frozen=True, slots=True, eq=False)
class ColdEndLaw:
    """The lump, and what each parcel of each strand exchanges with it, shape (strands, cells) [W/K]."""

    lump: ColdEnd
    sensor: int  # its place among the sensors
    exchange_w_k: Array

    def balance_c(self, manifold_c: float, strands_w: float = 0.0) -> float:
        """Temperature at which it would settle [°C].

        Examples
        --------
        >>> round(ColdEndLaw(ColdEnd(100.0, 0.05, 0.95, 20.0), 0, np.zeros((1, 1))).balance_c(220.0), 6)
        30.0
        """
        lump = self.lump
        inflow_w = lump.from_manifold_w_k * manifold_c + lump.to_coolant_w_k * lump.coolant_c + strands_w
        return inflow_w / (lump.from_manifold_w_k + lump.to_coolant_w_k)

    def strands_w(self, temp_c: Array, cold_end_c: float) -> float:
        """Heat that the strands give to it [W]; `temp_c` has one row per strand, along the path."""
        return float((self.exchange_w_k * (temp_c - cold_end_c)).sum())

    def after_c(self, before_c: float, manifold_c: float, strands_w: float, step_s: float) -> float:
        """Its temperature `step_s` later, its neighbours staying as they are [°C]."""
        lump = self.lump
        rate_per_s = (lump.from_manifold_w_k + lump.to_coolant_w_k) / lump.heat_capacity_j_k
        target_c = self.balance_c(manifold_c, strands_w)
        return target_c + (before_c - target_c) * math.exp(-rate_per_s * step_s)


def cold_end_law(parameters: Parameters, grid: Lattice) -> ColdEndLaw | None:
    """The law of one machine, or None where the cold end has a sensor."""
    name = parameters.estimated_sensor
    if parameters.cold_end is None or name is None:
        return None
    return ColdEndLaw(parameters.cold_end, parameters.sensors.index(name), _exchange_w_k(parameters, grid))


def _exchange_w_k(parameters: Parameters, grid: Lattice) -> Array:
    x_mm, rows = grid.centres_mm(0.5), np.zeros((len(parameters.strands), grid.cells))
    for zone, place in zip(parameters.zones, zone_places(parameters), strict=True):
        if zone.law is WallLaw.ESTIMATED:
            inside = (x_mm > place.hot_end_mm) & (x_mm < place.cold_end_mm)
            for row, strand in zip(rows, parameters.strands, strict=True):
                rate = exchange_rate_per_s(zone, parameters.filament_diameter_mm, strand.material)
                stored = stored_j_m_k(parameters.filament_diameter_mm, strand.material)
                row[inside] = rate * stored * grid.cell_mm * 1e-3
    return rows
