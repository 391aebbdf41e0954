"""The dose at which strands jam: the fit against published data and a reference optimiser, and by simulation."""

from math import exp, inf, log

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq, minimize

from monitor.archive.evidence import Case, Evidence
from monitor.archive.proposal import FACTOR, Proposal, Standing, learned, prior_in, propose
from monitor.archive.threshold import CUT_90, Fit, Model, Prior, Trial, fit

# Joint temperature [°F] of 23 launches, and whether any primary O-ring showed thermal distress.
LAUNCHES = [
    (66, 0), (70, 1), (69, 0), (68, 0), (67, 0), (72, 0), (73, 0), (70, 0), (57, 1), (63, 1), (70, 1), (78, 0),
    (67, 0), (53, 1), (67, 0), (75, 0), (70, 0), (81, 0), (76, 0), (79, 0), (75, 1), (76, 0), (58, 1),
]  # fmt: skip


def _launch_trials() -> list[Trial]:
    """Distress grows towards the cold, so the axis is turned round."""
    return [Trial(up_to=-float(temp)) if failed else Trial(above=-float(temp)) for temp, failed in LAUNCHES]


def test_the_published_logistic_regression_of_launch_data_is_found() -> None:
    """Dalal, Fowlkes & Hoadley (1989), J. Am. Stat. Assoc. 84, 945-957: logit p = 15.043 - 0.2322 t, deviance 20.315.

    Data and figures from memory; the same come out of statsmodels' Logit (15.04290165, -0.23216274, -10.1575963).
    """
    found = fit(_launch_trials(), Model())
    assert -found.place / found.spread == pytest.approx(15.0429, abs=1e-4)
    assert -1.0 / found.spread == pytest.approx(-0.23216, abs=1e-5)
    assert -2.0 * found.ln_likelihood == pytest.approx(20.3152, abs=1e-4)


def _loss(parameters: NDArray[np.float64], trials: list[Trial]) -> float:
    """Minus ln likelihood of (place, ln spread), written anew and without tricks."""
    place, spread = parameters[0], exp(parameters[1])
    total = 0.0
    for above, up_to in trials:
        below = 0.0 if above == -inf else 1.0 / (1.0 + exp(-(above - place) / spread))
        total += log(1.0 - below if up_to == inf else 1.0 / (1.0 + exp(-(up_to - place) / spread)) - below)
    return -total


def _reference(trials: list[Trial]) -> tuple[float, float, float]:
    """Place and the ends of its interval by scipy's optimiser and root finder."""
    best = minimize(_loss, [-65.0, 1.0], args=(trials,), method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12})

    def over(place: float) -> float:
        inner = minimize(lambda one: _loss(np.array([place, one[0]]), trials), [1.0], method="Nelder-Mead")
        return float(inner.fun - best.fun - CUT_90)

    place = float(best.x[0])
    return place, brentq(over, place - 20.0, place), brentq(over, place, place + 20.0)


def test_place_and_profile_interval_agree_with_a_reference_optimiser() -> None:
    """SciPy finds the same place and interval ends, also where some thresholds are known from both sides."""
    both_sides = [*_launch_trials(), Trial(-70.0, -62.0), Trial(-66.0, -60.0)]
    for trials in (_launch_trials(), both_sides):
        found = fit(trials, Model())
        assert (found.place, found.low, found.high) == pytest.approx(_reference(trials), abs=2e-3)


def _drawn(seed: int, count: int, place: float, spread: float) -> list[Trial]:
    """Strands with logistic thresholds, each pushed once at a dose of its own."""
    rng = np.random.default_rng(seed)
    doses = rng.uniform(place - 2.0, place + 2.0, count)
    thresholds = rng.logistic(place, spread, count)
    return [
        Trial(up_to=float(dose)) if threshold <= dose else Trial(above=float(dose))
        for dose, threshold in zip(doses, thresholds, strict=True)
    ]


def test_nine_intervals_of_ten_hold_the_truth() -> None:
    """Of 120 simulated sets of 60 strands, the 90 % interval holds the true place in 82 to 98 % (binomial, 3 sigma)."""
    hits = 0
    for seed in range(120):
        found = fit(_drawn(seed, 60, 5.0, 0.4), Model())
        hits += found.low <= 5.0 <= found.high
    assert 99 <= hits <= 117


def test_the_sought_share_lies_below_the_middle() -> None:
    """The place where a tenth fail is the middle less ln 9 spreads: the same curve, another point of it."""
    trials = _drawn(3, 200, 5.0, 0.4)
    half, tenth = fit(trials, Model(share=0.5)), fit(trials, Model(share=0.1))
    assert tenth.place == pytest.approx(half.place - log(9.0) * half.spread, abs=1e-3)
    assert tenth.ln_likelihood == pytest.approx(half.ln_likelihood, abs=1e-6)


def test_little_evidence_leaves_the_prior_and_much_overrules_it() -> None:
    """One strand hardly moves the place; two hundred lead to the truth whatever was believed."""
    prior = Prior(place=6.0, place_sd=0.5, ln_spread=log(0.4), ln_spread_sd=0.5)
    one = fit([Trial(above=4.0)], Model(0.5, 0.0, prior))
    assert one.place == pytest.approx(6.0, abs=0.05)
    assert 6.0 - 2.0 * 0.5 < one.low < one.high < 6.0 + 2.0 * 0.5
    many = fit(_drawn(5, 400, 5.0, 0.4), Model(0.5, 0.0, prior))
    assert many.low < 5.0 < many.high
    assert many.high - many.low < one.high - one.low


def test_one_jam_for_another_reason_does_not_move_all() -> None:
    """With a share of jams that have other reasons, a jam at a tiny dose lowers the place by far less than without."""
    trials = [*_drawn(7, 60, 5.0, 0.3), Trial(up_to=0.0)]
    clean = fit(trials[:-1], Model()).place
    assert abs(fit(trials, Model(lapse=0.02)).place - clean) < 0.5 * abs(fit(trials, Model()).place - clean)


@pytest.mark.parametrize("trials", [[], [Trial(above=1.0)], [Trial(up_to=1.0), Trial(up_to=2.0)]])
def test_nothing_is_made_of_nothing(trials: list[Trial]) -> None:
    """Without trials, or with one kind of outcome and no prior, there is no estimate."""
    with pytest.raises(ValueError, match=r"no trials|one kind only"):
        fit(trials, Model())


def _evidence(fine_min: list[float], jams_min: list[float]) -> Evidence:
    cases = [Case(f"{at}.jsonl", 1, dose, None) for at, dose in enumerate(fine_min)]
    return Evidence("test", (*cases, *(Case(f"j{at}.jsonl", 2, None, dose) for at, dose in enumerate(jams_min))))


def test_a_proposal_goes_where_the_evidence_is() -> None:
    """Strands fine far past the limit raise it, jams below it lower it; the warning keeps its proportion."""
    standing = Standing(warn_min=190.0, limit_min=285.0, prior_min=285.0)
    higher = propose(_evidence([400.0, 500.0, 600.0] * 5, [900.0]), standing)
    lower = propose(_evidence([20.0, 30.0] * 5, [90.0, 120.0, 140.0]), standing)
    assert isinstance(higher, Proposal)
    assert isinstance(lower, Proposal)
    assert lower.limit_min < 285.0 < higher.limit_min
    for proposal in (lower, higher):
        assert proposal.low_min <= proposal.limit_min <= proposal.high_min
        assert proposal.warn_min / proposal.limit_min == pytest.approx(190.0 / 285.0, rel=0.1)
        assert prior_in(proposal.note, 1.0) == 285.0


def test_without_a_jam_nothing_is_proposed() -> None:
    """However many were fine, nothing shows how much more they bear; and three strands are the least."""
    standing = Standing(190.0, 285.0, 285.0)
    assert "no strand of it jammed" in str(propose(_evidence([500.0] * 20, []), standing))
    assert "too little" in str(propose(_evidence([500.0], [600.0]), standing))


def test_the_prior_is_as_wide_as_the_table_says() -> None:
    """With evidence that says nothing, the interval is the table's value times and by three, to a few per cent."""
    found: Fit = learned(_evidence([0.01] * 3, []), 285.0)
    assert exp(found.place) == pytest.approx(285.0, rel=0.05)
    assert (exp(found.high) / 285.0, 285.0 / exp(found.low)) == pytest.approx((FACTOR, FACTOR), rel=0.1)


def test_nine_proposals_of_ten_hold_the_truth_where_the_prior_is_right() -> None:
    """Worlds drawn from the prior, 25 strands each, 2 % of jams for other reasons: the interval holds the tenth.

    Of 80 worlds 64 to 79 (binomial, 3 sigma about 90 %).
    """
    rng, hits = np.random.default_rng(11), 0
    for _ in range(80):
        place, spread = rng.normal(log(285.0), log(FACTOR) / 1.644854), exp(rng.normal(log(0.3), 0.5))
        found = learned(
            Evidence("test", tuple(_lived(rng, place + log(9.0) * spread, spread) for _ in range(25))), 285.0
        )
        hits += found.low <= place <= found.high
    assert 64 <= hits <= 79


def _lived(rng: np.random.Generator, middle: float, spread: float) -> Case:
    """One strand of such a world, pushed once at a dose between 20 and 1000 min."""
    threshold, dose = rng.logistic(middle, spread), rng.uniform(log(20.0), log(1000.0))
    has_jammed = threshold <= dose or rng.random() < 0.02
    return Case("night.jsonl", 1, None if has_jammed else exp(dose), exp(dose) if has_jammed else None)
