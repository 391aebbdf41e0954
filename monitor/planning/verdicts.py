"""Verdict on every strand of a planned build: survives, purge before use, or will not survive; when, why, what margin.

Reads a run; decides by the limits of the strands' materials. Words are kept short: they are shown in a table.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, NamedTuple

import numpy as np

from monitor.core.engine_state import Model
from monitor.planning.clock_words import planned_words
from monitor.planning.forward_run import Run, StrandRun, Use

SLACK_K: Final = 1.0
"""A regulated wall swings: this little below a strand's lowest feeding temperature is not told [K]. Judgement."""


class Outcome(StrEnum):
    """What comes of a strand, from best to worst."""

    UNUSED = "not used"
    SURVIVES = "survives"
    PURGE = "purge before use"
    WITHDRAW = "withdraw after use"
    LOST = "will not survive"


BADNESS: Final[Mapping[Outcome, int]] = {outcome: place for place, outcome in enumerate(Outcome)}


class Purge(NamedTuple):
    """What has to go before a use: at which planned time, how much [s, mm]."""

    time_s: float
    length_mm: float


@dataclass(frozen=True, slots=True)
class Verdict:
    """What comes of one strand.

    Parameters
    ----------
    input : int
    outcome : Outcome
    why : str
        In words, with the number.
    when_s : float or None
        Planned time at which it goes wrong [s].
    share : float
        Highest dose it has before a use, or at the end unless it is withdrawn, as a share of its limit [-].
    purges : tuple of Purge
        Before which uses aged material has to go.
    is_warned : bool
        It passes its warn dose while it is loaded, and is told in the watch.
    withdraw_by_s : tuple of float or None
        After its last use, and before it passes its warn dose [s].
    """

    input: int
    outcome: Outcome
    why: str
    when_s: float | None = None
    share: float = 0.0
    purges: tuple[Purge, ...] = ()
    withdraw_by_s: tuple[float, float] | None = None
    is_warned: bool = False


def verdicts(model: Model, run: Run, withdrawn_s: Mapping[int, float] | None = None) -> tuple[Verdict, ...]:
    """Verdict on every strand; `withdrawn_s` has the inputs that are withdrawn, and when."""
    gone = {} if withdrawn_s is None else withdrawn_s
    return tuple(_verdict(model, run, index, gone.get(strand.input)) for index, strand in enumerate(run.strands))


def machine_faults(model: Model, run: Run) -> Iterator[str]:
    """What the set points do to liners and to the material that bears least, whichever strand is used."""
    for place, zone in enumerate(model.liner_zones):
        warn_c, hottest_c = model.liner_limits_c[place][0], float(run.liners_c[:, place].max())
        if hottest_c > warn_c:
            name = model.parameters.zones[zone].name
            yield f"the liner in {name} comes to {hottest_c:.0f} °C; its first limit is {warn_c:.0f} °C"
    least = min(model.parameters.strands, key=lambda strand: strand.material.ceiling_c)
    hottest_c = float(run.strand_c.max())
    if hottest_c > least.material.ceiling_c:
        yield (
            f"walls where strands stand come to {hottest_c:.0f} °C; {least.material.name} in input {least.input} may"
            f" never see more than {least.material.ceiling_c:.0f} °C"
        )


def _verdict(model: Model, run: Run, index: int, withdrawn_s: float | None) -> Verdict:
    strand = run.strands[index]
    material = model.parameters.strands[index].material
    if not strand.uses:
        return _unused(strand, material.limit_min)
    share = _share(run, strand, material.limit_min, withdrawn_s)
    trouble = _trouble(model, index, strand.uses)
    if trouble is not None:
        use, why = trouble
        return Verdict(strand.input, Outcome.LOST, why, use.start_s, share)
    purges = tuple(Purge(use.start_s, use.aged_mm) for use in strand.uses if use.dose_min > material.warn_min)
    left = _after_last_use(run, strand, material.warn_min) if withdrawn_s is None else None
    if left is not None:
        past = " and its limit" if share > 1.0 else ""
        passes = f"standing on it passes its warn dose{past}, from {planned_words(left[1])}"
        why = f"last used at {planned_words(left[0])}; {passes}"
        return Verdict(strand.input, Outcome.WITHDRAW, why, left[1], share, purges, left)
    if purges:
        worst = max(strand.uses, key=lambda use: use.dose_min)
        why = (
            f"at {planned_words(worst.start_s)} it has {_doses(worst.dose_min, material.warn_min, material.limit_min)}"
        )
        return Verdict(strand.input, Outcome.PURGE, why, worst.start_s, share, purges)
    is_warned = share > material.warn_min / material.limit_min
    told = "; past its warn dose for a while, which the watch will tell" if is_warned else ""
    return Verdict(
        strand.input, Outcome.SURVIVES, f"at most {share:.0%} of its limit{told}", None, share, is_warned=is_warned
    )


def _unused(strand: StrandRun, limit_min: float) -> Verdict:
    """A strand that only stands there: it need not be loaded."""
    share = float(strand.dose_min.max()) / limit_min
    when = "" if strand.limit_s is None else f"; loaded, it would pass its limit at {planned_words(strand.limit_s)}"
    return Verdict(
        strand.input, Outcome.UNUSED, f"the build never feeds it: leave it unloaded{when}", strand.limit_s, share
    )


def _trouble(model: Model, index: int, uses: tuple[Use, ...]) -> tuple[Use, str] | None:
    """The first use that cannot work, and why."""
    strand = model.parameters.strands[index]
    material, soft_limit_min = strand.material, model.parameters.limits.softening_limit_min
    for use in uses:
        if use.coldest_c < material.min_feed_c - SLACK_K:
            rule = " (rule of thumb)" if material.min_feed_is_rule else ""
            need = f"it needs {material.min_feed_c:.0f}{rule}"
            return use, f"too cold to feed: the manifold is at {use.coldest_c:.0f} °C, {need}"
        if use.dose_min > material.limit_min:
            doses = _doses(use.dose_min, material.warn_min, material.limit_min)
            return use, f"after {planned_words(use.stood_s)} h standing it has {doses}"
        if use.soft_min > soft_limit_min:
            return use, f"soft where it must be stiff: {use.soft_min:.0f} of {soft_limit_min:.0f} min"
    return None


def _doses(dose_min: float, warn_min: float, limit_min: float) -> str:
    return f"{dose_min:.0f} min of dose: warn {warn_min:.0f}, limit {limit_min:.0f}"


def _share(run: Run, strand: StrandRun, limit_min: float, withdrawn_s: float | None) -> float:
    """Highest dose while it is in the hot path, before uses too, as a share of the limit."""
    before = [use.dose_min for use in strand.uses]
    standing = strand.dose_min if withdrawn_s is None else strand.dose_min[run.times_s <= withdrawn_s]
    return max(*before, float(standing.max(initial=0.0))) / limit_min


def _after_last_use(run: Run, strand: StrandRun, warn_min: float) -> tuple[float, float] | None:
    """When the strand is used last, and when it then passes its warn dose; None if it does not."""
    late = (run.times_s > (strand.last_s or 0.0)) & (strand.dose_min > warn_min)
    if strand.last_s is None or not late.any():
        return None
    return strand.last_s, float(run.times_s[int(np.argmax(late))])
