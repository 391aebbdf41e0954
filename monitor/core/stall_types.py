"""Words of the stall evidence: what is read of one input. What is found are types of the assessment.

Owns the types alone. Must not know how anything is detected.
"""

from typing import NamedTuple

from monitor.core.parameters import Drive
from monitor.core.stall_findings import Detector, StallFinding, StallPattern

__all__ = ["Detector", "Drive", "FeedReading", "StallFinding", "StallPattern"]


class FeedReading(NamedTuple):
    """What one sample tells of one input; None where it is not fitted or not reported in this sample."""

    time_s: float
    fed_mm: float  # commanded, cumulative, signed: retraction lowers it
    sensed_mm: float | None = None  # encoder, cumulative
    stall_flag: bool | None = None  # the driver's own
    manifold_c: float | None = None  # wall at the merge point
    manifold_set_c: float | None = None
    hot_idle_s: float = 0.0  # how long it stood hot before it was last taken up again; 0: not known, or not hot
