"""What a test has found: the figure that goes to the materials, with its evidence. Plain data and its reckoning."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

from monitor.bench.attempts import Attempt, Outcome
from monitor.bench.job import Job
from monitor.bench.psychometric import Interval, Trial
from monitor.bench.step_test import Done, Ending, belief


@dataclass(frozen=True, slots=True)
class Result:
    """Result of a test.

    Parameters
    ----------
    ending : Ending or None
        How it ended; None where it was broken off.
    feeding : Interval or None
        Of the lowest feeding temperature, with the confidence asked for; None where nothing can be said.
    min_feed_c : float or None
        What to put into the materials: the upper end, rounded up to a kelvin. None where it is not to be stated.
    slip : float or None
        Share lost beyond a hot strand's slip, over the attempts that fed [-]; None where no encoder told.
    attempts : tuple of Attempt
        All that were made.
    """

    ending: Ending | None
    feeding: Interval | None
    min_feed_c: float | None
    slip: float | None
    attempts: tuple[Attempt, ...]

    @property
    def counted(self) -> int:
        """Attempts that told something."""
        return len(trials_of(self.attempts))


def trials_of(attempts: Sequence[Attempt]) -> list[Trial]:
    """What the curve is fitted to: unclear attempts are left out."""
    clear = [attempt for attempt in attempts if attempt.outcome is not Outcome.UNCLEAR]
    return [Trial(attempt.temp_c, attempt.outcome is Outcome.FED) for attempt in clear]


def asked_of(attempts: Sequence[Attempt]) -> list[float]:
    """What was asked for, of the same attempts [°C]."""
    return [attempt.asked_c for attempt in attempts if attempt.outcome is not Outcome.UNCLEAR]


def conclude(job: Job, attempts: Sequence[Attempt], done: Done | None) -> Result:
    """What is known after these attempts; `done` is None where the test was broken off.

    A broken-off test states its interval as soon as attempts both fed and skipped, but never a figure to write down.
    """
    trials, asked_c = trials_of(attempts), asked_of(attempts)
    is_both = len({trial.has_fed for trial in trials}) > 1
    feeding = belief(job.span, trials).feeding(job.span.confidence) if is_both else None
    if done is None:
        return Result(None, feeding, None, _slip(attempts), tuple(attempts))
    if done.ending is Ending.FEEDS_EVERYWHERE:
        return Result(done.ending, None, min(asked_c), _slip(attempts), tuple(attempts))
    is_within = feeding is not None and feeding.high_c <= job.span.to_c
    min_feed_c = float(ceil(feeding.high_c)) if feeding is not None and is_within else None
    return Result(done.ending, feeding, min_feed_c, _slip(attempts), tuple(attempts))


def _slip(attempts: Sequence[Attempt]) -> float | None:
    known = [
        (attempt.lost_mm, attempt.fed_mm)
        for attempt in attempts
        if attempt.outcome is Outcome.FED and attempt.lost_mm is not None and attempt.fed_mm is not None
    ]
    fed_mm = sum(fed for _, fed in known)
    return sum(lost for lost, _ in known) / fed_mm if fed_mm > 0.0 else None
