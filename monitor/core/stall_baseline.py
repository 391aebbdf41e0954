"""Healthy slip of one input, learned from its first feed and then frozen.

Owns the line `slip = intercept + slope * flow`, found by recursive least squares on whole windows, and the measurement
of how the readings err. A window in which anything was suspect is dropped whole: leaving out single readings would
leave out just those whose error of position points one way, and bend the line. Frozen, because a baseline that goes on
learning eats a slow clog. Knows nothing of alarms.
"""

import math
from statistics import median
from typing import Final, NamedTuple

from monitor.core.stall_law import Limits, RigNoise, StallLaw, baseline_sd, limits_for, position_sd_mm

WINDOW_MM: Final = 30.0
LEARN_MM: Final = 600.0
_PRIOR_SD: Final = (0.06, 0.003)  # judgement, wide: of an encoder's scale, and of slip per mm³/s
_CLIP_SD: Final = 3.0  # one bad window must not pull the line
ERROR_MARGIN: Final = 1.25  # judgement: the largest healthy sum yet to come, over the largest seen while learning
_LEAST_LATE_PERIODS: Final = 0.25  # judgement: values of one report may be so far apart in time, shown or not
SLOW_FEED_MM_S: Final = 1.0  # under this speed an error is one of position, not of time
_WORST_WINDOWS: Final = 3
"""The window that erred third most tells how readings err: in one or two of twenty a reading within a hidden retraction
is to be expected, and such readings are passed over later on."""
_SETTLED_MM: Final = 150.0  # windows before this show the unlearned line, not noise
_MEDIAN_OF_NORMAL: Final = 0.6745  # median size of normal values, in standard deviations
_RATIO_95, _RATIO_10 = 2.35, 0.427
"""Quantiles of the variance that the median size of 15 normal values tells, over the true one (by simulation). Median,
because a window or two with a reading within a hidden retraction must not pass for noise."""
_WORST_WALK: Final = 3.0
"""Judgement: times the assumed walk. What looks like more is not random loss, and must not drown the fast test."""


class Observed(NamedTuple):
    """What one counted reading tells of healthy feed."""

    fed_mm: float
    seen_mm: float
    flow_mm3_s: float
    is_suspect: bool = False
    late_s: float = 0.0  # error of time that would explain it
    begins: bool = False  # the first of a chain of positions


class Window(NamedTuple):
    """Sums over the window that is being filled."""

    fed_mm: float = 0.0
    seen_mm: float = 0.0
    flow_mm: float = 0.0  # flow times fed
    is_suspect: bool = False
    late_s: float = 0.0  # largest error of time that would explain the readings
    chains: int = 0  # of positions: each adds an error at either end


class Baseline(NamedTuple):
    """The line, its covariance, and what the readings' noise was."""

    intercept: float = 0.0
    slope: float = 0.0  # per mm³/s
    covariance: tuple[float, float, float] = (_PRIOR_SD[0] ** 2, 0.0, _PRIOR_SD[1] ** 2)
    learned_mm: float = 0.0
    window: Window = Window()
    misses: tuple[tuple[float, int], ...] = ()  # by how much a window missed the line, once roughly known; its chains
    latest_s: tuple[float, ...] = (0.0,) * _WORST_WINDOWS  # of the windows that erred most, the worst first
    noise: RigNoise | None = None  # measured when the baseline was frozen; None before
    limits: Limits | None = None

    @property
    def is_frozen(self) -> bool:
        """Whether learning has ended."""
        return self.limits is not None

    def slip(self, flow_mm3_s: float) -> float:
        """Healthy slip at this flow [share]."""
        return self.intercept + self.slope * flow_mm3_s


def learn(law: StallLaw, known: Baseline, reading: Observed) -> Baseline:
    """Baseline after one more counted reading; the same object once frozen."""
    if known.is_frozen:
        return known
    old = known.window
    window = Window(
        old.fed_mm + reading.fed_mm,
        old.seen_mm + reading.seen_mm,
        old.flow_mm + reading.flow_mm3_s * reading.fed_mm,
        old.is_suspect or reading.is_suspect,
        max(old.late_s, reading.late_s),
        max(1, old.chains + reading.begins),
    )
    if window.fed_mm < WINDOW_MM:
        return known._replace(window=window)
    if window.is_suspect:
        return known._replace(window=Window())
    fitted = _fitted(law, known, window)
    return _frozen(law, fitted) if fitted.learned_mm >= LEARN_MM else fitted


def _fitted(law: StallLaw, known: Baseline, window: Window) -> Baseline:
    fed_mm = window.fed_mm
    flow = window.flow_mm / fed_mm
    p00, p01, p11 = known.covariance
    row0, row1 = p00 + p01 * flow, p01 + p11 * flow
    spread = row0 + row1 * flow + _window_variance(law.noise, fed_mm, law.speed_mm_s, window.chains)
    clip = _CLIP_SD * math.sqrt(spread)
    miss = max(-clip, min(clip, 1.0 - window.seen_mm / fed_mm - known.slip(flow)))
    is_settled = known.learned_mm >= _SETTLED_MM
    return known._replace(
        intercept=known.intercept + row0 / spread * miss,
        slope=known.slope + row1 / spread * miss,
        covariance=(p00 - row0 * row0 / spread, p01 - row0 * row1 / spread, p11 - row1 * row1 / spread),
        learned_mm=known.learned_mm + fed_mm,
        window=_EMPTY,
        misses=(*known.misses, (abs(miss), window.chains)) if is_settled else known.misses,
        latest_s=tuple(sorted((*known.latest_s, window.late_s), reverse=True)[:_WORST_WINDOWS]),
    )


def _window_variance(noise: RigNoise, fed_mm: float, speed_mm_s: float, chains: int) -> float:
    position_mm = position_sd_mm(noise, speed_mm_s)
    return noise.walk**2 / fed_mm + 2.0 * chains * (position_mm / fed_mm) ** 2


def _frozen(law: StallLaw, learned: Baseline) -> Baseline:
    """End of learning: measured noise replaces what was assumed, and the limits follow."""
    least_s = _LEAST_LATE_PERIODS * law.period_s
    late_s = min(law.noise.late_s, max(least_s, learned.latest_s[-1]))
    noise = law.noise._replace(late_s=late_s)
    noise = noise._replace(walk=_measured_walk(noise, law.speed_mm_s, learned))
    noise = noise._replace(bias_sd=baseline_sd(noise, law.drift, learned.learned_mm, law.speed_mm_s))
    limits = limits_for(noise, law.rate_per_mm, law.speed_mm_s, law.period_s)
    return learned._replace(noise=noise, limits=limits, window=_EMPTY)


def _measured_walk(noise: RigNoise, speed_mm_s: float, learned: Baseline) -> float:
    """The assumed random walk, or more if windows scatter more than it explains at the 5 % level: upper 90 % bound."""
    sizes = [
        miss / math.sqrt(_window_variance(noise, WINDOW_MM, speed_mm_s, chains)) for miss, chains in learned.misses
    ]
    if len(sizes) < _FEWEST_WINDOWS:
        return noise.walk  # too few to say anything else: an encoder that was silent while learning
    ratio = (median(sizes) / _MEDIAN_OF_NORMAL) ** 2
    return noise.walk if ratio <= _RATIO_95 else noise.walk * min(math.sqrt(ratio / _RATIO_10), _WORST_WALK)


_FEWEST_WINDOWS: Final = 5
_EMPTY: Final = Window()
