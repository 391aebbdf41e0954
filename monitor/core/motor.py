"""Arithmetic of a two-phase stepping motor that drives a strand.

Owns how much strand one slipped electrical cycle costs, and what current means for torque and force. Knows nothing of
readings.
Sources: the torque of a two-phase motor repeats every four full steps (D. W. Jones, *Control of Stepping Motors*,
chapter Physics), so a motor that loses step falls back by whole cycles whatever the microstepping.
"""

import math
from typing import Final

FULL_STEPS_PER_CYCLE: Final = 4
SPRING_BACK_CURRENT: Final = 0.85
"""Up to this share of its rated current a small drive stalls and springs back before its wheel cuts the strand; common
practice, no source."""


def mm_per_cycle(mm_per_full_step: float) -> float:
    """Strand lost when the motor slips one electrical cycle [mm]."""
    return FULL_STEPS_PER_CYCLE * mm_per_full_step


def mm_per_full_step(wheel_diameter_mm: float, full_steps_per_turn: int, gear_ratio: float = 1.0) -> float:
    """Strand per full step of a motor that turns `gear_ratio` times per turn of a wheel of this bite diameter [mm]."""
    return math.pi * wheel_diameter_mm / (full_steps_per_turn * gear_ratio)


def torque_share(current_a: float, rated_current_a: float, *, is_peak_of_sine: bool) -> float:
    """Torque as a share of the holding torque, which is stated with both phases at the rated current.

    Torque is proportional to the vector sum of both phases' currents up to saturation. A microstepping driver whose
    setting is the peak of its sine has a vector of that length; two phases at rated current have sqrt(2) times it.
    """
    share = current_a / rated_current_a
    return share / math.sqrt(2.0) if is_peak_of_sine else share


def push_n(torque_n_m: float, mm_per_full_step: float, full_steps_per_turn: int) -> float:
    """Force on the strand from the motor's torque, without friction [N]: over a turn the work is the same."""
    return torque_n_m * 2.0 * math.pi * 1000.0 / (mm_per_full_step * full_steps_per_turn)


def pressure_mpa(force_n: float, filament_diameter_mm: float) -> float:
    """Pressure of a strand pushed with this force, as if it were a piston [MPa]."""
    return force_n / (math.pi / 4.0 * filament_diameter_mm**2)
