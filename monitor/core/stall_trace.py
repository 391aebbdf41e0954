"""What the last millimetres of feed looked like: the features that tell patterns apart.

Owns running means over feed that fade with distance, so memory is constant. Knows nothing of limits or of patterns.
"""

import math
from typing import Final, NamedTuple

from monitor.core.motor import mm_per_cycle
from monitor.core.stall_ledger import Step
from monitor.core.stall_types import FeedReading

_RECENT_MM: Final = 10.0  # over which slip and temperatures are taken as recent
_FLOWS_MM: Final = 60.0  # over which the dependence on flow is seen
_RESOLVED: Final = 0.5  # an encoder shows single jumps if its count is at most this share of one


class Share(NamedTuple):
    """Faded sums of feed and of what was lost of it."""

    fed_mm: float = 0.0
    lost_mm: float = 0.0

    @property
    def slip(self) -> float:
        """Lost share; 0 before any feed."""
        return self.lost_mm / self.fed_mm if self.fed_mm > 0.0 else 0.0


class Jumps(NamedTuple):
    """Losses per reading as phases of the motor's electrical cycle: they gather where losses are whole cycles."""

    number: float = 0.0
    cosine: float = 0.0

    @property
    def gathering(self) -> float:
        """1 where every loss is a whole number of cycles, near 0 where they are any length (Rayleigh's statistic)."""
        return self.cosine / self.number if self.number > 0.0 else 0.0


_NOTHING: Final = Share()
_NO_JUMPS: Final = Jumps()


class Trace(NamedTuple):
    """Recent feed of one input."""

    recent: Share = _NOTHING
    flow_mm3_s: float | None = None  # mean
    above: Share = _NOTHING  # at flows above the mean
    below: Share = _NOTHING
    manifold_c: float | None = None
    below_set_k: float | None = None  # how far the manifold is below its set point
    jumps: Jumps = _NO_JUMPS

    @property
    def rise_with_flow(self) -> float | None:
        """Slip at flows above the mean less slip at flows below it; None while one of them is hardly known."""
        enough_mm = _FLOWS_MM / 6.0
        if min(self.above.fed_mm, self.below.fed_mm) < enough_mm:
            return None
        return self.above.slip - self.below.slip


def advance_trace(old: Trace, reading: FeedReading, step: Step, cycle_mm: float | None) -> Trace:
    """Trace after a counted step; `cycle_mm` is None where the encoder cannot show single jumps."""
    fed_mm, lost_mm, flow = step.fed_mm, step.lost_mm, step.flow_mm3_s
    keep = math.exp(-fed_mm / _RECENT_MM)
    keep_far = math.exp(-fed_mm / _FLOWS_MM)
    mean = flow if old.flow_mm3_s is None else keep_far * old.flow_mm3_s + (1.0 - keep_far) * flow
    is_above = flow > mean
    manifold_c, set_c = reading.manifold_c, reading.manifold_set_c
    return Trace(
        _faded(old.recent, keep, fed_mm, lost_mm),
        mean,
        _faded(old.above, keep_far, fed_mm, lost_mm) if is_above else _faded(old.above, keep_far),
        _faded(old.below, keep_far) if is_above else _faded(old.below, keep_far, fed_mm, lost_mm),
        _mean(old.manifold_c, manifold_c, keep),
        _mean(old.below_set_k, None if manifold_c is None or set_c is None else set_c - manifold_c, keep),
        old.jumps if cycle_mm is None else _jumped(old.jumps, lost_mm, cycle_mm, keep_far),
    )


def visible_cycle_mm(mm_per_full_step: float | None, count_mm: float) -> float | None:
    """Strand per electrical cycle, if an encoder with this count shows single ones [mm]."""
    if mm_per_full_step is None:
        return None
    cycle_mm = mm_per_cycle(mm_per_full_step)
    return cycle_mm if count_mm <= _RESOLVED * cycle_mm else None


def _faded(old: Share, keep: float, fed_mm: float = 0.0, lost_mm: float = 0.0) -> Share:
    return Share(keep * old.fed_mm + fed_mm, keep * old.lost_mm + lost_mm)


def _mean(old: float | None, new: float | None, keep: float) -> float | None:
    if new is None:
        return old
    return new if old is None else keep * old + (1.0 - keep) * new


def _jumped(old: Jumps, lost_mm: float, cycle_mm: float, keep: float) -> Jumps:
    if lost_mm < cycle_mm / 2.0:
        return old
    return Jumps(keep * old.number + 1.0, keep * old.cosine + math.cos(2.0 * math.pi * lost_mm / cycle_mm))
