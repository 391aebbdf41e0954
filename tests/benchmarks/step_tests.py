"""How good and how long step tests are, over simulated strands with known curves."""

from random import Random
from typing import Final

import numpy as np

from monitor.bench.psychometric import Trial, chance, feeding_c
from monitor.bench.step_test import Done, Next, TestRange, next_step
from tests.benchmarks.figures import Figure, count

SPAN = TestRange(150.0, 215.0)
SPREADS_K = (0.5, 1.0, 2.0, 3.0)
RIPPLE_K = 0.3
"""By so much the manifold is not where it was asked to be."""


def _stated(of: str) -> tuple[Figure, ...]:
    return (
        count(f"{of}median attempts", "attempts"),
        count(f"{of}95th percentile of attempts", "attempts"),
        count(f"{of}90 % interval holds the truth", "% of tests", at_least=85.0),
        count(f"{of}its upper end is above the truth", "% of tests"),
        count(f"{of}bias of its middle, either way", "K", at_most=2.0),
    )


_KINDS: Final = (*(f"spread {spread_k:g} K: " for spread_k in SPREADS_K), "all: ")
FIGURES: Final = tuple(figure for kind in _KINDS for figure in _stated(kind))


def simulated(threshold_c: float, spread_k: float, random: Random, span: TestRange = SPAN) -> tuple[Done, list[Trial]]:
    """A whole test of a strand with such a curve."""
    trials: list[Trial] = []
    asked_c: list[float] = []
    while isinstance(step := next_step(span, trials, asked_c), Next):
        temp_c = step.temp_c + random.gauss(0.0, RIPPLE_K)
        has_fed = random.random() < float(chance(temp_c, threshold_c, spread_k))
        trials.append(Trial(temp_c, has_fed))
        asked_c.append(step.temp_c)
    return step, trials


def measure(count: int = 500) -> dict[str, float]:
    """Attempts, coverage and bias, by spread and over all."""
    random = Random(2026)  # noqa: S311 -- a simulation must repeat
    figures: dict[str, float] = {}
    every: list[tuple[float, float, float, float]] = []
    for spread_k in SPREADS_K:
        told = [_one(spread_k, random) for _ in range(count // len(SPREADS_K))]
        every += told
        figures |= _figures(f"spread {spread_k:g} K: ", told)
    return figures | _figures("all: ", every)


def _one(spread_k: float, random: Random) -> tuple[float, float, float, float]:
    """Attempts, whether the interval holds the truth, whether its upper end is above it, error of its middle [K]."""
    threshold_c = random.uniform(163.0, 193.0)
    done, trials = simulated(threshold_c, spread_k, random)
    truth_c = float(feeding_c(threshold_c, spread_k))
    is_below_top = truth_c <= done.feeding.high_c
    is_held = is_below_top and truth_c >= done.feeding.low_c
    return float(len(trials)), float(is_held), float(is_below_top), done.feeding.middle_c - truth_c


def _figures(of: str, told: list[tuple[float, float, float, float]]) -> dict[str, float]:
    attempts, held, below_top, errors_k = np.array(told).T
    return {
        f"{of}median attempts": float(np.median(attempts)),
        f"{of}95th percentile of attempts": float(np.percentile(attempts, 95.0)),
        f"{of}90 % interval holds the truth": 100.0 * float(np.mean(held)),
        f"{of}its upper end is above the truth": 100.0 * float(np.mean(below_top)),
        f"{of}bias of its middle, either way": abs(float(np.mean(errors_k))),
    }
