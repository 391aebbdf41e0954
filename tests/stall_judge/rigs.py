"""What a machine's drive, encoder and report are like: drawn for every seed within stated ranges.

Owns the ranges. All are assumptions of the size common in practice (no source); none was measured on a machine.
"""

from dataclasses import dataclass, replace
from random import Random
from typing import Final

Range = tuple[float, float]

STRAND_MM2: Final = 2.405
"""Cross-section of a strand of 1.75 mm."""


@dataclass(frozen=True, slots=True)
class Ranges:
    """What one kind of rig may be like: the bounds of every draw."""

    count_mm: float
    period_s: float
    jitter_s: Range  # age of an encoder reading varies by this much
    clock_s: float  # commanded feed and encoder are read this far apart, either way
    play_mm: Range
    walk: Range  # random slip, mm per square root of mm
    scale: float  # error of the encoder's wheel, either way
    drift: Range  # spread of the slow wander of healthy slip
    eccentric_mm: Range
    every_other: bool = False  # the encoder is reported in every second sample only


FINE: Final = Ranges(0.1, 0.25, (0.02, 0.10), 0.05, (0.05, 0.3), (0.02, 0.05), 0.015, (0.001, 0.004), (0.0, 0.05))
FINE_2_HZ: Final = Ranges(0.1, 0.5, (0.02, 0.10), 0.05, (0.05, 0.3), (0.02, 0.05), 0.015, (0.001, 0.004), (0.0, 0.05))
COARSE: Final = Ranges(1.0, 0.5, (0.05, 0.30), 0.10, (0.1, 0.6), (0.03, 0.10), 0.03, (0.002, 0.008), (0.0, 0.15))
POLES: Final = Ranges(3.0, 0.5, (0.05, 0.30), 0.10, (0.1, 0.6), (0.03, 0.10), 0.03, (0.002, 0.008), (0.0, 0.30))

RARE: Final = replace(COARSE, every_other=True)

KINDS: Final = {"fine": FINE, "fine, 2 Hz": FINE_2_HZ, "coarse": COARSE, "3 mm": POLES, "coarse, 1 Hz": RARE}


@dataclass(frozen=True, slots=True)
class Rig:
    """One input's drive, strand, encoder and report, as they really are."""

    count_mm: float
    period_s: float
    late_s: float
    jitter_s: float
    clock_s: float
    lost_share: float  # samples that never arrive
    mute_share: float  # samples without an encoder value
    every_other: bool
    play_mm: float
    slack_mm: float  # spread of what is found missing or spare when a strand is taken up again
    wheel_mm: float  # round the wheel
    eccentric_mm: float
    scale: float
    drift: float
    drift_over_mm: float
    walk: float
    slip: float
    slip_per_flow: float
    cycle_mm: float  # one electrical cycle of the motor
    flag_chance: float
    false_flag_chance: float  # per withdrawal
    resets_per_m: float
    least_c: float  # the strand's lowest temperature at which all flows of the build pass
    set_c: float
    noise_k: float
    wander_k: float
    limit_per_k: float  # how fast the flow limit grows with temperature
    is_motor_told: bool


def draw_rig(random: Random, ranges: Ranges) -> Rig:
    """One rig of the kind."""
    least_c = random.uniform(180.0, 250.0)
    return Rig(
        count_mm=ranges.count_mm,
        period_s=ranges.period_s,
        late_s=random.uniform(0.0, 0.05),
        jitter_s=random.uniform(*ranges.jitter_s),
        clock_s=random.uniform(-ranges.clock_s, ranges.clock_s),
        lost_share=random.choice((0.0, 0.002, 0.02)),
        mute_share=random.choice((0.0, 0.0, 0.02)),
        every_other=ranges.every_other,
        play_mm=random.uniform(*ranges.play_mm),
        slack_mm=random.uniform(0.0, 0.3),
        wheel_mm=random.uniform(20.0, 45.0),
        eccentric_mm=random.uniform(*ranges.eccentric_mm),
        scale=random.uniform(-ranges.scale, ranges.scale),
        drift=random.uniform(*ranges.drift),
        drift_over_mm=random.uniform(300.0, 2000.0),
        walk=random.uniform(*ranges.walk),
        slip=random.uniform(0.002, 0.015),
        slip_per_flow=random.uniform(0.0, 0.0012),
        cycle_mm=random.choice((0.05, 0.09, 0.13, 0.16, 0.23, 0.31, 0.36, 0.5)),
        flag_chance=random.uniform(0.15, 0.7),
        false_flag_chance=1.0 / random.uniform(500.0, 5000.0),
        resets_per_m=random.choice((0.0, 0.0, 0.01, 0.05)),
        least_c=least_c,
        set_c=least_c + random.uniform(8.0, 30.0),
        noise_k=random.uniform(0.05, 0.3),
        wander_k=random.uniform(0.0, 1.0),
        limit_per_k=random.uniform(0.02, 0.045),
        is_motor_told=random.random() < 0.6,
    )
