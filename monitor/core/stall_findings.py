"""What is told of a strand that does not move as it should. Frozen data and nothing else."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final, NamedTuple

from monitor.core.span import Span


class StallPattern(StrEnum):
    """Ways in which a strand does not move as it should."""

    COLD_SKIPPING = "cold skipping"
    JAM_AFTER_IDLE = "jam after idle"
    GRINDING = "grinding"
    SLOW_CLOG = "slow clog"
    RUN_OUT_OR_TANGLE = "run-out or tangle"
    STRAND_STOPPED = "strand stopped"  # one of the above, but the evidence does not tell which


NOT_BY_DRIVE: Final = frozenset({StallPattern.RUN_OUT_OR_TANGLE, StallPattern.GRINDING, StallPattern.STRAND_STOPPED})
"""Patterns in which the drive has no strand, or no hold of it, or may not have: what it is told moves nothing."""

NOT_FORWARD: Final = NOT_BY_DRIVE | {StallPattern.JAM_AFTER_IDLE}
"""Patterns in which to push on makes it worse, or does nothing."""


class Detector(StrEnum):
    """Which test found it."""

    FAST = "fast"
    MEDIUM = "medium"
    SLOW = "slow"
    FLAGS = "flags"


@dataclass(frozen=True, slots=True)
class StallFinding:
    """A strand that does not move as it should, with the evidence.

    Parameters
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
    is_held : bool
        Of a run-out or tangle: whether the strand is held fast, by the driver's flags, rather than used up.
    """

    pattern: StallPattern
    lost_mm: float
    over_mm: float
    onset_mm: Span
    slip: float
    is_final: bool
    evidence: tuple[str, ...]
    detector: Detector
    is_held: bool = False


class FlowSlip(NamedTuple):
    """One bin as it is told: its lower edges, feed and observed slip."""

    flow_mm3_s: float
    manifold_c: float
    fed_mm: float
    slip: float


@dataclass(frozen=True, slots=True)
class BalanceSight:
    """What a heater's power balance can see of the strands of which nothing else tells.

    Parameters
    ----------
    heater : str
        Its name; empty where no heater at the merge point has a known power.
    inputs : tuple of int
        Inputs that have fed and of which neither an encoder nor a driver has told anything.
    why_not : str
        Why nothing can be seen at present; empty where the balance is armed.
    least_j : float or None
        Energy that must be missing before it speaks [J]; None while nothing can be seen.
    least_mm : float or None
        Feed over which a strand that stopped leaves so much missing [mm].
    least_share : float
        Share of the feed that must be missing for it ever to be seen.
    """

    heater: str
    inputs: tuple[int, ...]
    why_not: str
    least_j: float | None
    least_mm: float | None
    least_share: float
