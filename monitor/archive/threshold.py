"""The dose at which strands jam, estimated from strands that did and strands that did not.

Owns the model and its fit; knows nothing of recordings or materials. Pure.

Every strand has a threshold x of its own, by a logistic distribution (in ln of the dose: log-logistic). Of a strand
that was used fine at x only "above x" is known, of one that jammed "between the highest x it was used fine at, and x":
censored observations, whose likelihood is that of a survival analysis, and of a logistic regression on x where nothing
is known below. The interval is that of the profile likelihood (the spread is refitted at every place), as in Venzon &
Moolgavkar (1988), Applied Statistics 37, 87-94 (from memory); a prior, where given, is part of the likelihood.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf, log
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

CUT_90: Final = 2.705543 / 2.0
"""Half the 90 % quantile of chi-squared, one degree of freedom: how far the profile falls to the interval's ends."""
_TINY: Final = 1e-300
_GRID, _LINE = 15, 21
_ZOOMS, _LINE_ZOOMS, _HALVINGS = 36, 12, 26
_SHRINK, _LINE_SHRINK = 0.6, 0.4
_REACH: Final = 4.0
"""How far beyond the data the search goes, in widths of the data."""


class Trial(NamedTuple):
    """What is known of one strand's threshold: above `above`, and not above `up_to` (infinite: it never jammed)."""

    above: float = -inf
    up_to: float = inf


@dataclass(frozen=True, slots=True)
class Prior:
    """What is believed beforehand: normal in the place sought and in ln of the spread."""

    place: float
    place_sd: float
    ln_spread: float
    ln_spread_sd: float


@dataclass(frozen=True, slots=True)
class Model:
    """What is sought: the place where `share` of all strands fail; `lapse` of failures have other reasons."""

    share: float = 0.5
    lapse: float = 0.0
    prior: Prior | None = None


class Fit(NamedTuple):
    """The likeliest place and spread, their ln likelihood, the ends of the place's 90 % interval (infinite: open)."""

    place: float
    spread: float
    ln_likelihood: float
    low: float
    high: float


def fit(trials: Sequence[Trial], model: Model) -> Fit:
    """Estimate the place from at least one trial.

    Raises
    ------
    ValueError
        Without trials; or without a prior when only one kind of outcome was seen, which leaves the place open.
    """
    above = np.array([trial.above for trial in trials])
    up_to = np.array([trial.up_to for trial in trials])
    if not len(trials):
        raise ValueError("no trials")
    if model.prior is None and (np.isinf(up_to).all() or np.isinf(above).all()):
        raise ValueError("outcomes of one kind only, and no prior")
    rise = _posterior(above, up_to, model)
    box = _box(above, up_to, model)
    place, ln_spread, best = _highest(rise, box)
    profile = _profile(rise, box)
    ends = [_end(profile, best - CUT_90, place, edge) for edge in (box.low, box.high)]
    return Fit(place, float(np.exp(ln_spread)), best, *ends)


class _Box(NamedTuple):
    """Where is searched."""

    low: float
    high: float
    ln_low: float
    ln_high: float


Rise = Callable[[Array, Array], Array]


def _box(above: Array, up_to: Array, model: Model) -> _Box:
    known = np.concatenate([above[np.isfinite(above)], up_to[np.isfinite(up_to)]])
    prior = model.prior
    marks = known if prior is None else np.append(known, [prior.place - prior.place_sd, prior.place + prior.place_sd])
    width = max(float(np.ptp(marks)), 1e-6 * max(1.0, float(np.abs(marks).max())))
    low, high = float(marks.min()) - _REACH * width, float(marks.max()) + _REACH * width
    if prior is None:
        return _Box(low, high, log(width / 1000.0), log(width * 10.0))
    reach = 6.0 * prior.ln_spread_sd
    return _Box(low, high, prior.ln_spread - reach, prior.ln_spread + reach)


def _posterior(above: Array, up_to: Array, model: Model) -> Rise:
    """The ln likelihood, prior included, of arrays of places and ln spreads."""
    to_middle = log((1.0 - model.share) / model.share)
    has_failed = np.isfinite(up_to)
    fine, since, by = above[~has_failed], above[has_failed], up_to[has_failed]
    never_lapsed = log(1.0 - model.lapse) * len(fine)

    def rise(place: Array, ln_spread: Array) -> Array:
        spread = np.exp(ln_spread)[..., None]
        middle = place[..., None] + to_middle * spread
        between = np.exp(_survived(since, middle, spread)) - np.exp(_survived(by, middle, spread))
        failed = np.log(np.maximum(model.lapse + (1.0 - model.lapse) * between, _TINY))
        total: Array = failed.sum(axis=-1) + _survived(fine, middle, spread).sum(axis=-1) + never_lapsed
        return total if model.prior is None else total + _ln_prior(place, ln_spread, model.prior)

    return rise


def _survived(x: Array, middle: Array, spread: Array) -> Array:
    """Give ln (1 - F(x)) of the logistic distribution, without loss far out."""
    result: Array = -np.logaddexp(0.0, (x - middle) / spread)
    return result


def _ln_prior(place: Array, ln_spread: Array, prior: Prior) -> Array:
    of_place = (place - prior.place) / prior.place_sd
    of_spread = (ln_spread - prior.ln_spread) / prior.ln_spread_sd
    result: Array = -0.5 * (of_place**2 + of_spread**2)
    return result


def _highest(rise: Rise, box: _Box) -> tuple[float, float, float]:
    """The highest point, by a grid that closes in on it."""
    place, ln_spread = (box.low + box.high) / 2.0, (box.ln_low + box.ln_high) / 2.0
    wide, tall, best = box.high - box.low, box.ln_high - box.ln_low, -inf
    for _ in range(_ZOOMS):
        places = np.clip(place + wide * np.linspace(-0.5, 0.5, _GRID), box.low, box.high)
        spreads = np.clip(ln_spread + tall * np.linspace(-0.5, 0.5, _GRID), box.ln_low, box.ln_high)
        heights = rise(*np.meshgrid(places, spreads, indexing="ij"))
        row, column = np.unravel_index(int(heights.argmax()), heights.shape)
        if heights[row, column] >= best:
            place, ln_spread, best = float(places[row]), float(spreads[column]), float(heights[row, column])
        wide, tall = wide * _SHRINK, tall * _SHRINK
    return place, ln_spread, best


def _profile(rise: Rise, box: _Box) -> Callable[[float], float]:
    """Height at a place, with the spread that suits it best."""

    def height(place: float) -> float:
        ln_spread, tall, best = (box.ln_low + box.ln_high) / 2.0, box.ln_high - box.ln_low, -inf
        for _ in range(_LINE_ZOOMS):
            spreads = np.clip(ln_spread + tall * np.linspace(-0.5, 0.5, _LINE), box.ln_low, box.ln_high)
            heights = rise(np.full(_LINE, place), spreads)
            at = int(heights.argmax())
            ln_spread, best, tall = float(spreads[at]), max(best, float(heights[at])), tall * _LINE_SHRINK
        return best

    return height


def _end(profile: Callable[[float], float], level: float, inside: float, outside: float) -> float:
    """Where the profile falls to `level` between the best place and the edge; infinite when it does not."""
    if profile(outside) > level:
        return inf if outside > inside else -inf
    for _ in range(_HALVINGS):
        middle = (inside + outside) / 2.0
        if profile(middle) > level:
            inside = middle
        else:
            outside = middle
    return (inside + outside) / 2.0
