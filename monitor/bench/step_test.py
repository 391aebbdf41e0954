"""The design of the step test: from the attempts so far to the next temperature, or to the result.

Owns when it steps up, when down, and when it is done. First up in coarse steps until the strand feeds, then up and down
in fine ones until the feeding temperature is known well enough: up after a skip, down after two successes in a row,
which gathers the attempts above the middle of the curve, where the answer lies (a transformed up-and-down rule, Levitt
1971, from memory). Knows nothing of how an attempt is made.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from monitor.bench.psychometric import Interval, Posterior, Trial, posterior

LEAST_TRIALS: Final = 6
"""Fewer are never believed, whatever the model says (judgement)."""
MOST_TRIALS: Final = 20
ENDS_CONFIRMED_BY: Final = 3
"""Attempts at an end of the range that must agree before it is said that the strand feeds, or skips, all over it."""


@dataclass(frozen=True, slots=True)
class TestRange:
    """Which temperatures may be tried, and how closely.

    Parameters
    ----------
    from_c, to_c : float
        Lowest and highest temperature of the manifold that may be asked for [°C].
    step_k, fine_k : float
        Steps until it first feeds, and afterwards [K].
    confidence : float
        Of the stated interval, 0.5 to 0.99.

    Raises
    ------
    ValueError
        With what is wrong.
    """

    from_c: float
    to_c: float
    step_k: float = 10.0
    fine_k: float = 5.0
    confidence: float = 0.9

    __test__ = False  # it is no test of pytest's

    def __post_init__(self) -> None:
        if not self.to_c >= self.from_c + self.fine_k:
            raise ValueError(f"from {self.from_c:g} to {self.to_c:g} °C leaves no room for a step of {self.fine_k:g} K")
        if not 0.0 < self.fine_k <= self.step_k:
            raise ValueError(f"steps of {self.step_k:g} and {self.fine_k:g} K: the fine one must be the smaller")
        if not 0.5 <= self.confidence <= 0.99:  # noqa: PLR2004 -- the bounds that the docstring gives
            raise ValueError(f"a confidence of {self.confidence:g} cannot be had; allowed: 0.5 to 0.99")

    @property
    def enough_k(self) -> float:
        """How narrow the interval must be [K]: two fine steps, more where more confidence is asked for."""
        return 2.0 * self.fine_k * max(1.0, self.confidence / 0.9)


class Ending(StrEnum):
    """How a test ended."""

    FOUND = "found"
    FEEDS_EVERYWHERE = "feeds everywhere"
    FEEDS_NOWHERE = "feeds nowhere"
    MOST_TRIALS = "most attempts made"


@dataclass(frozen=True, slots=True)
class Next:
    """Try this temperature next [°C]."""

    temp_c: float


@dataclass(frozen=True, slots=True)
class Done:
    """The test is over. `feeding` is the interval of the feeding temperature; an open end means nothing there."""

    ending: Ending
    feeding: Interval


def next_step(span: TestRange, trials: Sequence[Trial], asked_c: Sequence[float]) -> Next | Done:
    """What to do after these attempts.

    Parameters
    ----------
    span : TestRange
        What may be tried.
    trials : Sequence[Trial]
        Attempts so far, with the temperatures there really were.
    asked_c : Sequence[float]
        What was asked for, of each [°C].
    """
    if not trials:
        return Next(span.from_c)
    known = belief(span, trials)
    feeding = known.feeding(span.confidence)
    ending = _ending(span, trials, asked_c, feeding)
    return Next(_next_c(span, trials, asked_c)) if ending is None else Done(ending, feeding)


def belief(span: TestRange, trials: Sequence[Trial]) -> Posterior:
    """What these attempts tell of the strand."""
    return posterior(trials, span.from_c, span.to_c)


def _ending(span: TestRange, trials: Sequence[Trial], asked_c: Sequence[float], feeding: Interval) -> Ending | None:
    if _all_at(span.from_c, trials, asked_c, has_fed=True):
        return Ending.FEEDS_EVERYWHERE
    if _all_at(span.to_c, trials, asked_c, has_fed=False):
        return Ending.FEEDS_NOWHERE
    is_both = len({trial.has_fed for trial in trials}) > 1
    if is_both and len(trials) >= LEAST_TRIALS and feeding.width_k <= span.enough_k and feeding.high_c <= span.to_c:
        return Ending.FOUND
    return Ending.MOST_TRIALS if len(trials) >= MOST_TRIALS else None


def _all_at(end_c: float, trials: Sequence[Trial], asked_c: Sequence[float], *, has_fed: bool) -> bool:
    """Whether the newest attempts, enough of them, were all at this end and all came out like this."""
    newest = list(zip(trials, asked_c, strict=True))[-ENDS_CONFIRMED_BY:]
    is_enough = len(newest) == ENDS_CONFIRMED_BY
    return is_enough and all(at_c == end_c and trial.has_fed is has_fed for trial, at_c in newest)


def _next_c(span: TestRange, trials: Sequence[Trial], asked_c: Sequence[float]) -> float:
    """Coarse steps until the first change; then a fine one up after a skip, down after two successes in a row there."""
    last_c = asked_c[-1]
    is_refining = len({trial.has_fed for trial in trials}) > 1
    step_k = span.fine_k if is_refining else span.step_k
    if not trials[-1].has_fed:
        return min(span.to_c, last_c + step_k)
    is_sure = len(trials) > 1 and trials[-2].has_fed and asked_c[-2] == last_c
    return max(span.from_c, last_c - step_k) if is_sure or not is_refining else last_c
