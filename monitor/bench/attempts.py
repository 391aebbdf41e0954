"""What one attempt to feed has shown. Plain data; nothing here judges.

An attempt is one feed of a stated length at one temperature of the manifold.
"""

from dataclasses import dataclass
from enum import StrEnum


class Outcome(StrEnum):
    """Whether the strand moved as it was told."""

    FED = "fed"
    SKIPPED = "skipped"
    UNCLEAR = "unclear"


class Witness(StrEnum):
    """Who tells."""

    ENCODER = "encoder"
    FLAGS = "driver's flags"
    OWNER = "you"


@dataclass(frozen=True, slots=True)
class Attempt:
    """One attempt.

    Parameters
    ----------
    time_s : float
        When it ended, since the session began [s].
    temp_c : float
        Mean of the manifold's wall while the strand fed [°C].
    asked_c : float
        What was asked for [°C].
    outcome : Outcome
        What is made of it.
    witness : Witness
        Whose word that is.
    fed_mm, speed_mm_s : float or None
        Commanded feed, and its speed while it moved; None where the machine does not tell its feed.
    lost_mm, error_mm : float or None
        What did not arrive beyond the slip of a hot strand, and how far that may be wrong (about two standard
        deviations); None where no encoder tells.
    flags : int
        Stalls that the driver reported meanwhile.
    """

    time_s: float
    temp_c: float
    asked_c: float
    outcome: Outcome
    witness: Witness
    fed_mm: float | None = None
    speed_mm_s: float | None = None
    lost_mm: float | None = None
    error_mm: float | None = None
    flags: int = 0

    @property
    def slip(self) -> float | None:
        """Share of the commanded feed that did not arrive [-]; None where nothing tells."""
        return None if self.lost_mm is None or not self.fed_mm else self.lost_mm / self.fed_mm
