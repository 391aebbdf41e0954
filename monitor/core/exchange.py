"""Heat exchange between the wall of the hot path and a strand: a stated series of resistances.

Everything is per metre of strand and turned into one rate λ [1/s], at which the strand's temperature approaches its
wall: dT/dt = λ (T_wall - T). The model and its limits are told in heat_model.md beside this file.
"""

import math
from typing import Final

from monitor.core.parameters import Material, Zone

AIR_CONDUCTIVITY_W_M_K: Final = 0.033
"""Still air near 120 °C, the middle of a heat break (from memory: handbook tables give 0.026 at 25 to 0.039 at 200)."""

LINER_CONDUCTIVITY_W_M_K: Final = 0.25
"""PTFE, handbook tables: 0.23 to 0.26."""

FIRST_BESSEL_ROOT: Final = 2.404825557695773
"""First zero of J0 (Abramowitz & Stegun, table 9.5): slowest mode of a cylinder with its surface held."""


def inside_rate_per_s(diameter_mm: float, diffusivity_mm2_s: float) -> float:
    """Fastest rate at which a strand can follow its own surface [1/s].

    λ = 2.4048² α / R², the slowest mode of an infinite cylinder: no contact, however good, exchanges heat faster.

    Parameters
    ----------
    diameter_mm : float
        Strand diameter [mm].
    diffusivity_mm2_s : float
        Thermal diffusivity [mm²/s].

    References
    ----------
    Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, table 5.1 (Bi → ∞, infinite cylinder).

    Examples
    --------
    >>> round(inside_rate_per_s(1.75, 0.1), 3)
    0.755
    """
    return FIRST_BESSEL_ROOT**2 * diffusivity_mm2_s / (diameter_mm / 2) ** 2


def shell_resistance_m_k_w(inner_mm: float, outer_mm: float, conductivity_w_m_k: float) -> float:
    """Radial resistance of a cylindrical shell, per metre of length [m K/W].

    R = ln(D_o / D_i) / (2 π k), Incropera & DeWitt, section 3.3.

    Examples
    --------
    >>> round(shell_resistance_m_k_w(1.9, 3.0, 0.25), 6)
    0.290781
    """
    return math.log(outer_mm / inner_mm) / (2 * math.pi * conductivity_w_m_k)


def exchange_rate_per_s(zone: Zone, diameter_mm: float, material: Material) -> float:
    """Rate λ at which a strand in this zone follows its wall [1/s].

    1/λ = 1/λ_inside + ρ c A (R_gap + R_liner). The gap is still air and vanishes where the strand wets the wall;
    the liner counts where there is one.

    Returns
    -------
    float
        λ, between 0 and `inside_rate_per_s`.
    """
    outside_m_k_w = 0.0
    if not zone.wetted:
        outside_m_k_w += shell_resistance_m_k_w(diameter_mm, zone.bore_mm, AIR_CONDUCTIVITY_W_M_K)
    if zone.liner is not None:
        outer_mm = zone.bore_mm + 2 * zone.liner_mm
        outside_m_k_w += shell_resistance_m_k_w(zone.bore_mm, outer_mm, LINER_CONDUCTIVITY_W_M_K)
    inside_s = 1 / inside_rate_per_s(diameter_mm, material.diffusivity_mm2_s)
    return 1 / (inside_s + stored_j_m_k(diameter_mm, material) * outside_m_k_w)


def stored_j_m_k(diameter_mm: float, material: Material) -> float:
    """Heat that a metre of strand stores per kelvin, ρ c A [J/(m K)]."""
    return material.density_kg_m3 * material.heat_capacity_j_kg_k * math.pi * (diameter_mm * 1e-3) ** 2 / 4
