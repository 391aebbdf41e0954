"""Arithmetic of the drive's motor."""

import pytest

from monitor.core.motor import mm_per_cycle, mm_per_full_step, pressure_mpa, push_n, torque_share


@pytest.mark.parametrize(
    ("wheel_mm", "gears", "cycle_mm"),
    [(7.3, 1.0, 0.459), (8.0, 3.0, 0.168), (11.0, 1.0, 0.691), (8.0, 7.5, 0.067), (7.3, 10.0, 0.046)],
)
def test_strand_per_slipped_cycle(wheel_mm: float, gears: float, cycle_mm: float) -> None:
    """Torque repeats every 4 full steps (D. W. Jones, Control of Stepping Motors): 7.2 degrees of a usual motor."""
    step_mm = mm_per_full_step(wheel_mm, 200, gears)
    assert mm_per_cycle(step_mm) == pytest.approx(cycle_mm, abs=5e-4)
    assert mm_per_cycle(step_mm) == pytest.approx(3.14159265 * wheel_mm * 7.2 / 360.0 / gears)


def test_torque_for_current() -> None:
    """Rated holding torque is with both phases at rated current: 0.85 A peak of a 1 A motor gives 60 % of it.

    The 85 % x 0.707 = 60 % is that of an open laboratory kit's note on driver currents.
    """
    assert torque_share(0.85, 1.0, is_peak_of_sine=True) == pytest.approx(0.601, abs=5e-4)
    assert torque_share(0.85, 1.0, is_peak_of_sine=False) == 0.85


def test_push_and_pressure() -> None:
    """Work is force times way: a newton-metre over a turn equals the force over the strand of a turn's full steps."""
    assert push_n(0.40 * 0.85, mm_per_full_step(11.0, 200), 200) == pytest.approx(61.8, abs=0.05)
    assert push_n(0.13 * 0.85, mm_per_full_step(8.0, 200, 3.0), 200) == pytest.approx(74.6 / 0.9, abs=0.06)
    assert pressure_mpa(10.0, 1.75) == pytest.approx(4.16, abs=0.005)
    assert pressure_mpa(72.2, 1.75) == pytest.approx(30.0, abs=0.05)
