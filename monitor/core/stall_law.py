"""Limits of the stall tests of one input, computed from what its rig is like. In words: stalls.md.

Owns the assumptions about rigs and the way from a false-alarm rate to limits in millimetres. Knows nothing of readings.
Every assumption that has no source is marked judgement; noise that a rig shows to be worse is measured and replaces it.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, NamedTuple

from monitor.core.run_length import event_run_mm, walk_limit_mm
from monitor.core.stall_types import Detector, Drive

TESTS: Final = (Detector.FAST, Detector.MEDIUM, Detector.SLOW)
FALSE_ALARMS_PER_1000_H: Final = 0.2
"""Of feeding, per input, all tests together: a fifth of the project's goal, because the assumptions may be wrong."""
_DESIGN_FLOW_MM3_S: Final = 6.0  # judgement: turns hours into millimetres
_FAST_ALLOWANCE: Final = 0.30  # judgement: more than an encoder's scale is ever wrong before the baseline is learned
_DESIGN_SLIPS: Final = (0.30, 0.10)  # which the medium and the slow test are to find soonest
_CANDIDATES: Final = (0.10, 0.15, 0.20, 0.25, 0.30, 0.35, 0.40, 0.45, 0.50, 0.55, 0.60, 0.65, 0.70)  # shares of these
_PLAY_MM: Final = 0.4  # judgement: play between drive and encoder, and a wheel that runs out of true
_UNKNOWN_COUNT_MM: Final = 1.0  # a count that the profile does not tell is taken as coarse
_COARSE_FROM_MM: Final = 0.5
_FINE_NOISE: Final = (0.05, 0.004)  # judgement: random walk [mm per sqrt mm], sd of the wander of healthy slip
_COARSE_NOISE: Final = (0.10, 0.008)  # judgement: coarse wheels are pressed less firmly
_WANDER_MM: Final = 2000.0  # judgement: length over which healthy slip wanders
_LATE_PERIODS: Final = 2.0  # judgement: before it is measured, an encoder may be this many report periods late …
_LATE_S: Final = 0.8  # … or this long, whichever is more
FALSE_FLAGS_PER_MM: Final = 1e-3  # judgement: what a driver may flag for nothing and still be believed
_STALLED_FLAGS_PER_MM: Final = 0.2  # judgement: flags of a stalled drive, at least


class RigNoise(NamedTuple):
    """How the feed readings of one healthy input err."""

    static_mm: float  # bounded error of position whatever the speed: count, play, wheel
    late_s: float  # bounded error of time between commanded and sensed feed: times speed it is one of position
    walk: float  # random loss, the only error that adds up [mm per square root of mm fed]
    bias_sd: float  # of healthy slip about the learned baseline [share]


class Limits(NamedTuple):
    """The three tests, fast, medium and slow."""

    allowances: tuple[float, float, float]  # k: share of feed that may be lost
    walk_mm: tuple[float, float, float]  # the part of the limits that the random walk needs; infinite: drowned


@dataclass(frozen=True, slots=True)
class StallLaw:
    """What the stall evidence of one input goes by; see `stall_law`."""

    drive: Drive
    min_feed_c: float
    area_mm2: float
    period_s: float
    speed_mm_s: float  # of feed at the design flow
    noise: RigNoise  # assumed, until measured
    drift: float  # sd of the wander of healthy slip, without what is not known of the baseline
    rate_per_mm: float  # false alarms, per test
    limits: Limits  # by the assumed noise
    flag_allowance_per_mm: float
    flag_limit: float

    @property
    def step_mm(self) -> float:
        """Feed between readings at the design flow [mm]."""
        return self.speed_mm_s * self.period_s

    @property
    def count_mm(self) -> float:
        """Strand per encoder count [mm]."""
        count_mm = self.drive.encoder_mm_per_count
        return _UNKNOWN_COUNT_MM if count_mm is None else count_mm


def stall_law(drive: Drive, *, filament_diameter_mm: float, min_feed_c: float, report_period_s: float) -> StallLaw:
    """Limits for one input.

    A limit is the bounded error of position plus what the random walk needs for the stated false-alarm rate. The
    bounded error enters once because differences of position telescope; its part from timing grows with speed and is
    added when the sum is judged, so that slow feed is judged more sharply.

    Parameters
    ----------
    drive : Drive
        What is known of the drive.
    filament_diameter_mm : float
        Diameter of the strand [mm], > 0.
    min_feed_c : float
        Manifold temperature under which this strand is too stiff to push [°C].
    report_period_s : float
        Time between readings [s], > 0.

    Raises
    ------
    ValueError
        If the diameter, the period or the encoder's count is not above 0.
    """
    count_mm = _UNKNOWN_COUNT_MM if drive.encoder_mm_per_count is None else drive.encoder_mm_per_count
    for name, value in (
        ("filament_diameter_mm", filament_diameter_mm),
        ("report_period_s", report_period_s),
        ("encoder_mm_per_count", count_mm),
    ):
        if not value > 0.0:
            raise ValueError(f"{name} is {value}; it must be above 0")
    walk, drift = _FINE_NOISE if count_mm < _COARSE_FROM_MM else _COARSE_NOISE
    noise = RigNoise(count_mm + _PLAY_MM, max(_LATE_PERIODS * report_period_s, _LATE_S), walk, math.sqrt(2.0) * drift)
    area_mm2 = math.pi / 4.0 * filament_diameter_mm**2
    speed_mm_s = _DESIGN_FLOW_MM3_S / area_mm2
    per_mm = FALSE_ALARMS_PER_1000_H / (1000.0 * 3600.0 * speed_mm_s)
    flag_allowance = _best_allowance(FALSE_FLAGS_PER_MM, _STALLED_FLAGS_PER_MM)
    return StallLaw(
        drive=drive,
        min_feed_c=min_feed_c,
        area_mm2=area_mm2,
        period_s=report_period_s,
        speed_mm_s=speed_mm_s,
        noise=noise,
        drift=drift,
        rate_per_mm=per_mm / len(TESTS),
        limits=limits_for(noise, per_mm / len(TESTS), speed_mm_s, report_period_s),
        flag_allowance_per_mm=flag_allowance,
        flag_limit=_flag_limit(per_mm, flag_allowance),
    )


@lru_cache(maxsize=32)
def limits_for(noise: RigNoise, rate_per_mm: float, speed_mm_s: float, period_s: float) -> Limits:
    """Allowances and limits of the three tests for this noise.

    The allowances of the medium and the slow test are those that find 30 and 10 % slip after the least feed,
    `limit / (slip - allowance)`; the fast one's is fixed.
    """
    step_mm = speed_mm_s * period_s
    fast = walk_limit_mm(rate_per_mm, _FAST_ALLOWANCE, noise.walk, noise.bias_sd, step_mm)
    bounded_mm = noise.static_mm + min(noise.late_s, period_s) * speed_mm_s
    medium, slow = (_soonest(slip, noise, bounded_mm, rate_per_mm, step_mm) for slip in _DESIGN_SLIPS)
    return Limits((_FAST_ALLOWANCE, medium[0], slow[0]), (fast, medium[1], slow[1]))


def _soonest(
    slip: float, noise: RigNoise, bounded_mm: float, rate_per_mm: float, step_mm: float
) -> tuple[float, float]:
    """Allowance, and its limit's random part, that find this slip after the least feed."""

    def delay_mm(choice: tuple[float, float]) -> float:
        return (bounded_mm + choice[1]) / (slip - choice[0])

    allowances = [share * slip for share in _CANDIDATES]
    return min(
        ((k, walk_limit_mm(rate_per_mm, k, noise.walk, noise.bias_sd, step_mm)) for k in allowances), key=delay_mm
    )


def baseline_sd(noise: RigNoise, drift: float, learned_mm: float, speed_mm_s: float) -> float:
    """Standard deviation of healthy slip about a baseline learned over so much feed [share].

    The learned mean errs by the walk and by the errors of position at both ends; slip wanders away from it.
    """
    position_mm = position_sd_mm(noise, speed_mm_s)
    learned_var = noise.walk**2 / learned_mm + 2.0 * (position_mm / learned_mm) ** 2
    # a mean over a stretch wanders less than a point: exact for exponentially fading correlation
    ratio = learned_mm / _WANDER_MM
    mean_var = 2.0 * (ratio - 1.0 + math.exp(-ratio)) / ratio**2
    return math.sqrt(drift**2 * (1.0 + mean_var) + learned_var)


def position_sd_mm(noise: RigNoise, speed_mm_s: float) -> float:
    """Standard deviation of a position whose error is spread evenly over the bounded range [mm]."""
    return (noise.static_mm + noise.late_s * speed_mm_s) / math.sqrt(12.0)


def _best_allowance(rate_per_mm: float, stalled_per_mm: float) -> float:
    """Allowance of the CUSUM of counted events that is the likelihood-ratio test between two rates (Lucas 1985)."""
    return (stalled_per_mm - rate_per_mm) / math.log(stalled_per_mm / rate_per_mm)


@lru_cache(maxsize=32)
def _flag_limit(rate_per_mm: float, allowance_per_mm: float) -> float:
    limit = 1.0
    while event_run_mm(FALSE_FLAGS_PER_MM, allowance_per_mm, limit) * rate_per_mm < 1.0:
        limit += 0.1
    return limit
