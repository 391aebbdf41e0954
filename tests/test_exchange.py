"""Heat exchange between wall and strand, against tables and a reference library."""

import ht
import pytest
from scipy.special import jn_zeros

from monitor.core.exchange import FIRST_BESSEL_ROOT, exchange_rate_per_s, inside_rate_per_s, shell_resistance_m_k_w
from monitor.core.parameters import WallLaw, Zone
from tests.machines import GREY, ZONES


def test_first_bessel_root() -> None:
    """Abramowitz & Stegun, table 9.5 (by scipy): first zero of J0 is 2.4048."""
    assert pytest.approx(jn_zeros(0, 1)[0], abs=1e-12) == FIRST_BESSEL_ROOT


def test_a_thin_strand_follows_its_surface_at_best_at_this_rate() -> None:
    """Incropera, table 5.1 at Bi → ∞: a 1.75 mm strand with α = 1e-7 m²/s relaxes at 0.755 /s."""
    assert inside_rate_per_s(1.75, 0.1) == pytest.approx(0.755, abs=5e-4)


@pytest.mark.parametrize(("inner_mm", "outer_mm", "conductivity"), [(1.9, 3.0, 0.25), (1.75, 2.0, 0.033)])
def test_shell_resistance(inner_mm: float, outer_mm: float, conductivity: float) -> None:
    """The library ht gives the same resistance of a cylindrical shell (R_cylinder)."""
    reference = ht.R_cylinder(Di=inner_mm / 1000, Do=outer_mm / 1000, k=conductivity, L=1)

    assert shell_resistance_m_k_w(inner_mm, outer_mm, conductivity) == pytest.approx(reference, rel=1e-12)


def test_each_layer_slows_the_exchange() -> None:
    """Wetted contact is fastest and equals the strand's own bound; a gap slows it, a liner slows it further."""
    wetted = exchange_rate_per_s(ZONES[2], 1.75, GREY)
    gap = exchange_rate_per_s(Zone("bare", 5.0, 2.0, WallLaw.AMBIENT), 1.75, GREY)
    lined = exchange_rate_per_s(ZONES[0], 1.75, GREY)

    assert wetted == pytest.approx(inside_rate_per_s(1.75, GREY.diffusivity_mm2_s))
    assert wetted > gap > lined > 0.1
