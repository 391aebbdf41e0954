"""A material's dose limits as marked recordings would have them: proposed with evidence, method and interval. Pure."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from math import exp, floor, isfinite, log, log10
from typing import Final

from monitor.archive.evidence import Evidence
from monitor.archive.threshold import Fit, Model, Prior, fit

SHARE: Final = 0.1
"""The limit is the dose at which one strand in ten jams (judgement)."""
LAPSE: Final = 0.02
"""Share of jams that have nothing to do with the dose (judgement)."""
FACTOR: Final = 3.0
"""A dose limit of the table is good to this factor, up and down, nine times in ten (so says its file)."""
_Z_90: Final = 1.644854
LIKELY_SPREAD: Final = 0.3
"""Scale of ln of the thresholds of strands: lots of one material differ by a factor of 1.7 or so (judgement)."""
LN_SPREAD_SD: Final = 0.5
FEWEST: Final = 3
"""With fewer strands nothing is proposed (judgement); nor while none of them jammed."""
SOURCE: Final = "strandwatch archive learn"
_BEFORE: Final = re.compile(r"before: ([0-9.]+) min")

METHOD: Final = (
    "method: thresholds of strands taken as log-logistic; censored likelihood of doses used fine and doses jammed at,"
    f" with the table's limit (good to a factor of {FACTOR:g}) as prior; limit = dose at which {SHARE:.0%} jam;"
    f" {LAPSE:.0%} of jams taken to have other reasons; 90 % interval by profile likelihood"
)


@dataclass(frozen=True, slots=True)
class Standing:
    """What holds now: the limits of the table [min], and the limit that serves as prior."""

    warn_min: float
    limit_min: float
    prior_min: float


@dataclass(frozen=True, slots=True)
class Proposal:
    """New limits [min] with the interval of the limit, and what they rest on."""

    material: str
    standing: Standing
    warn_min: float
    limit_min: float
    low_min: float
    high_min: float
    strands: int
    jams: int

    @property
    def source(self) -> str:
        """What vouches for the numbers."""
        return f"{SOURCE}: {self.strands} strands, {self.jams} of them jammed"

    @property
    def note(self) -> str:
        """What stood there, so that evidence is never counted twice."""
        return f"before: {self.standing.prior_min:g} min; dose at which {SHARE:.0%} of strands jam, 90 % interval"


def prior_in(note: str, limit_min: float) -> float:
    """The limit before anything was learned, where a note of `Proposal.note` tells it.

    >>> prior_in("before: 285 min; dose at …", 210.0)
    285.0
    """
    found = _BEFORE.match(note)
    return limit_min if found is None else float(found[1])


def propose(evidence: Evidence, standing: Standing) -> Proposal | str:
    """New limits; or why there are none, in words."""
    jams = len(evidence.jams)
    if len(evidence.cases) < FEWEST:
        return f"too little is known: {len(evidence.cases)} strands in marked recordings, {FEWEST} are needed"
    if not jams:
        highest_min = max(case.used_min or 0.0 for case in evidence.cases)
        return (
            f"no strand of it jammed, and the highest dose used fine was {highest_min:.3g} min: nothing shows how much"
            " more it bears, so nothing is proposed"
        )
    found = learned(evidence, standing.prior_min)
    limit_min = _rounded(exp(found.place))
    return Proposal(
        material=evidence.material,
        standing=standing,
        warn_min=_rounded(limit_min * standing.warn_min / standing.limit_min),
        limit_min=limit_min,
        low_min=min(limit_min, _rounded(exp(found.low))) if isfinite(found.low) else limit_min,
        high_min=max(limit_min, _rounded(exp(found.high))) if isfinite(found.high) else limit_min,
        strands=len(evidence.cases),
        jams=jams,
    )


def learned(evidence: Evidence, prior_min: float) -> Fit:
    """Fit ln of the limit."""
    prior = Prior(log(prior_min), log(FACTOR) / _Z_90, log(LIKELY_SPREAD), LN_SPREAD_SD)
    return fit([case.trial for case in evidence.cases], Model(SHARE, LAPSE, prior))


def proposal_lines(proposal: Proposal) -> Iterator[str]:
    """Tell a proposal."""
    now = proposal.standing
    yield (
        f"  proposed: limit {proposal.limit_min:g} min (90 % interval {proposal.low_min:g} to {proposal.high_min:g}),"
        f" warning {proposal.warn_min:g} min; now {now.limit_min:g} and {now.warn_min:g}"
    )


def evidence_lines(evidence: Evidence) -> Iterator[str]:
    """Tell what is known, jams first, then what was used fine at the highest doses."""
    shown = 12
    yield f"{evidence.material}: {len(evidence.cases)} strands in marked recordings, {len(evidence.jams)} jammed"
    fine = sorted((case for case in evidence.cases if case.jam_min is None), key=lambda case: -(case.used_min or 0.0))
    for case in (*evidence.jams, *fine)[:shown]:
        used = "" if case.used_min is None else f"used fine up to {case.used_min:.3g} min"
        jam = "" if case.jam_min is None else f"jammed at {case.jam_min:.3g} min"
        yield f"  {', '.join(filter(None, (jam, used)))}: {case.recording}, input {case.input}"
    if len(evidence.cases) > shown:
        yield f"  and {len(evidence.cases) - shown} more, used fine at lower doses"
    for text in evidence.left_out[:shown]:
        yield f"  left out: {text}"


def _rounded(value_min: float) -> float:
    """Two digits, downwards: a limit is not to be promised more exactly than it is known."""
    unit = 10.0 ** (floor(log10(value_min)) - 1)
    return round(floor(value_min / unit + 1e-9) * unit, 6)
