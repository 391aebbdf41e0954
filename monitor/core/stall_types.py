"""Words of the stall evidence: what is read of one input, what is known of its drive, and what is found.

Owns the types alone. Must not know how anything is detected.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from monitor.core.assessment import Span


class FeedReading(NamedTuple):
    """What one sample tells of one input; None where it is not fitted or not reported in this sample."""

    time_s: float
    fed_mm: float  # commanded, cumulative, signed: retraction lowers it
    sensed_mm: float | None = None  # encoder, cumulative
    stall_flag: bool | None = None  # the driver's own
    manifold_c: float | None = None  # wall at the merge point
    manifold_set_c: float | None = None
    hot_idle_s: float = (
        0.0  # how long the strand stood hot before it was last taken up again; 0 is not known or not hot
    )


@dataclass(frozen=True, slots=True)
class Drive:
    """What the profile may know of one input's drive."""

    mm_per_full_step: float | None = None
    motor_current_a: float | None = None
    rated_current_a: float | None = None
    encoder_mm_per_count: float | None = None


class StallPattern(StrEnum):
    """Ways in which a strand does not move as it should."""

    COLD_SKIPPING = "cold skipping"
    JAM_AFTER_IDLE = "jam after idle"
    GRINDING = "grinding"
    SLOW_CLOG = "slow clog"
    RUN_OUT_OR_TANGLE = "run-out or tangle"
    STRAND_STOPPED = "strand stopped"  # one of the above, but the evidence does not tell which


class Detector(StrEnum):
    """Which test found it."""

    FAST = "fast"
    MEDIUM = "medium"
    SLOW = "slow"
    FLAGS = "flags"


@dataclass(frozen=True, slots=True)
class StallFinding:
    """A strand that does not move as it should, with the evidence.

    Attributes
    ----------
    pattern : StallPattern
        What it looks like; may change until `is_final`.
    lost_mm, over_mm : float
        Millimetres missing beyond healthy slip, and the commanded feed over which they went missing.
    onset_mm : Span
        Between which readings of commanded feed it began.
    slip : float
        Share of the most recent feed that did not arrive, beyond healthy slip; NaN where no encoder tells.
    is_final : bool
        Whether enough was fed since the alarm for the pattern to be settled.
    evidence : tuple of str
        Sentences with numbers.
    detector : Detector
        Which test found it.
    """

    pattern: StallPattern
    lost_mm: float
    over_mm: float
    onset_mm: Span
    slip: float
    is_final: bool
    evidence: tuple[str, ...]
    detector: Detector
