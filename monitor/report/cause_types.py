"""What is said of a cause: frozen data and nothing else."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final, NamedTuple

from monitor.report.incidents import Incident


class Cause(StrEnum):
    """What may be behind a failure, in the words of the trade."""

    COLD_MANIFOLD = "manifold too cold for the strand"
    SOFTENED = "strand softened where it must be stiff"
    AGED = "strand aged by standing hot"
    JAM_AFTER_IDLE = "jam after standing hot"
    CLOG = "slow clog"
    RUN_OUT = "strand run out"
    TANGLE = "strand held back by its spool"
    GRINDING = "drive grinding"
    HEATER = "heater fault"
    HOT_MANIFOLD = "manifold too hot"
    COOLING = "cooling fault"
    SENSOR = "sensor fault"
    DATA_GAP = "no data"
    STOPPED = "strand stopped, why is open"


class Evidence(NamedTuple):
    """A sentence with its number, and how much it counts.

    `weight` is 0 to 1: above 0 it speaks for the cause; a sentence against it has a negative one.
    """

    text: str
    weight: float


class Sureness(StrEnum):
    """How sure, in words. What the sum of evidence must reach is judgement; it is no probability."""

    NEARLY_SURE = "nearly sure"
    LIKELY = "likely"
    POSSIBLE = "possible"
    UNLIKELY = "unlikely"


_STEPS: Final = ((0.85, Sureness.NEARLY_SURE), (0.6, Sureness.LIKELY), (0.25, Sureness.POSSIBLE))


def total_weight(evidence: tuple[Evidence, ...]) -> float:
    """Weight of all evidence together: each piece leaves so much less doubt, each against it so much less belief.

    >>> round(total_weight((Evidence("a", 0.5), Evidence("b", 0.5), Evidence("c", -0.2))), 3)
    0.6
    """
    doubt, belief = 1.0, 1.0
    for piece in evidence:
        if piece.weight >= 0.0:
            doubt *= 1.0 - piece.weight
        else:
            belief *= 1.0 + piece.weight
    return (1.0 - doubt) * belief


def sureness(weight: float) -> Sureness:
    """Word for a weight."""
    return next((word for least, word in _STEPS if weight >= least), Sureness.UNLIKELY)


@dataclass(frozen=True, slots=True)
class Explanation:
    """One cause with all that speaks for and against it.

    Parameters
    ----------
    cause : Cause
    subject : str
        What it concerns: an input, a sensor, the link.
    began_s : float
        When it began, as far as the recording tells [s].
    until_s : float or None
        Where the beginning is only known to lie in a range: its end [s].
    evidence : tuple of Evidence
    missing : tuple of str
        What is not known, and would be needed to be sure.
    """

    cause: Cause
    subject: str
    began_s: float
    until_s: float | None
    evidence: tuple[Evidence, ...]
    missing: tuple[str, ...]

    @property
    def weight(self) -> float:
        """All evidence together."""
        return total_weight(self.evidence)

    @property
    def sure(self) -> Sureness:
        """How sure, in words."""
        return sureness(self.weight)


@dataclass(frozen=True, slots=True)
class Failure:
    """The first thing that went wrong. `is_harm` is False where the watch only warned; `incident` may be missing."""

    condition: str
    subject: str
    input: int | None
    time_s: float
    is_harm: bool
    incident: Incident | None


@dataclass(frozen=True, slots=True)
class Findings:
    """The first failure with its explanations, best first; no failure where nothing went wrong."""

    failure: Failure | None
    explanations: tuple[Explanation, ...]
