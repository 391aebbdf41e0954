"""Words of the advice about the machine as a whole: its set point, and whether to pause. Decides nothing."""

import math
from collections.abc import Sequence
from typing import Final

from monitor.core.advice_types import Advice, AdviceKind, Figure
from monitor.core.assessment import StrandAssessment
from monitor.core.duration_words import clock_words
from monitor.core.pause_cost import PauseCost
from monitor.core.set_point import MARGIN_K, RAMP_K_PER_MIN, SetPoint

_SET_NOTE: Final = "ISO 6983 has no word for a set point: use the machine's own way. strandwatch never sends it."
_SAME_K: Final = 1.0
_SAME_SHARE: Final = 0.02


def set_point_advice(strands: Sequence[StrandAssessment], point: SetPoint) -> Advice:
    """The lowest set point that will do, and what it buys."""
    text, reason, is_advised = _set_point_words(strands, point)
    needed = strands[point.needed_by]
    rule = f" That of input {needed.input} is a rule of thumb." if needed.min_feed_is_rule else ""
    every = f" For every strand to feed it takes {point.all_c:.0f} °C." if point.all_c > point.set_c else ""
    return Advice(
        kind=AdviceKind.SET_POINT,
        input=None,
        is_advised=is_advised,
        text=text,
        reason=reason,
        figures=(
            Figure("set_c", point.set_c),
            Figure("all_c", point.all_c),
            Figure("now_c", point.now_c),
            Figure("least_ceiling_c", point.least_ceiling_c),
            Figure("margin_k", MARGIN_K),
            Figure("ramp_k_per_min", RAMP_K_PER_MIN),
            Figure("left_s", point.left_s),
            Figure("then_left_s", point.then_left_s),
        ),
        caution=(
            f"Go down in steps and watch that each strand still moves: lowest feeding temperatures are for slow feed."
            f"{rule}{every} Leave the machine's own protection on."
        ),
        lines_note=_SET_NOTE,
    )


def _set_point_words(strands: Sequence[StrandAssessment], point: SetPoint) -> tuple[str, str, bool]:
    needed = strands[point.needed_by]
    name = f"input {needed.input}"
    need = f"{name} needs {needed.min_feed_c:.0f} °C to feed"
    if not point.is_allowed:
        bound = (
            f"input {strands[point.least_ceiling].input} bears no more than {point.least_ceiling_c:.0f} °C"
            if point.hot_liner is None
            else f"the liner in {point.hot_liner} would be too hot"
        )
        return f"No set point serves all: {need}, but {bound}.", "Change the strands loaded.", False
    if abs(point.set_c - point.now_c) <= _SAME_K:
        return f"Leave the manifold at {point.now_c:.0f} °C.", f"Lower it may not be: {need}.", False
    gain = _gain(strands, point)
    if point.set_c > point.now_c:
        return f"Raise the manifold to {point.set_c:.0f} °C: {need}.", gain, True
    is_gain = point.then_left_s > point.left_s
    return f"Set the manifold to {point.set_c:.0f} °C, no lower: {need}.", gain, is_gain


def _gain(strands: Sequence[StrandAssessment], point: SetPoint) -> str:
    if point.first is None or point.then_first is None:
        return "No strand stands hot that is still short of its limit: it buys no time."
    then, now = strands[point.then_first].input, strands[point.first].input
    if math.isinf(point.then_left_s):
        return f"No limit is ahead then; now input {now} reaches its own within {clock_words(point.left_s)}."
    return (
        f"The first limit, of input {then}, is then {clock_words(point.then_left_s)} away; now, of input {now},"
        f" {clock_words(point.left_s)}."
    )


def pause_advice(strands: Sequence[StrandAssessment], cost: PauseCost) -> Advice:
    """Whether a pause at these temperatures costs anything, in one sentence."""
    text, is_advised = _pause_words(strands, cost)
    return Advice(
        kind=AdviceKind.PAUSE,
        input=None,
        is_advised=is_advised,
        text=text,
        reason=_pause_reason(cost),
        figures=(
            Figure("standing_s", cost.standing_s),
            Figure("going_s", cost.going_s),
            Figure("shared_s", cost.shared_s),
        ),
        caution="Parts stay hot in a pause. Do not leave a machine paused hot and unwatched.",
    )


def _pause_words(strands: Sequence[StrandAssessment], cost: PauseCost) -> tuple[str, bool]:
    if cost.first is None or math.isinf(cost.standing_s):
        return "A pause costs the strands nothing: no limit is ahead.", True
    name = f"input {strands[cost.first].input}"
    if cost.standing_s == 0.0:
        return f"Pause before {name} feeds again: it is past its limit.", True
    if cost.standing_s < (1.0 - _SAME_SHARE) * cost.going_s:
        against = "with no limit ahead" if math.isinf(cost.going_s) else f"against {clock_words(cost.going_s)}"
        return (
            f"Do not pause hot for {clock_words(cost.standing_s)} or more: {name} reaches its limit, {against}.",
            False,
        )
    left = f"{name} stands anyway, and reaches its limit within {clock_words(cost.standing_s)}"
    if cost.shared_s < cost.standing_s:
        longest = clock_words(cost.shared_s)
        return f"Pause hot for less than {longest}: after that the melt on its way to the nozzle must be purged.", True
    return f"A pause costs no time: {left}.", True


def _pause_reason(cost: PauseCost) -> str:
    all_stand = f"If everything stands hot the first limit is {_away(cost.standing_s)}, going on {_away(cost.going_s)}"
    if _away(cost.standing_s) == _away(cost.going_s):
        all_stand = f"Standing hot or going on, the first limit is {_away(cost.standing_s)}"
    if math.isinf(cost.shared_s):
        return f"{all_stand}."
    return f"{all_stand}; what lies on the way to the nozzle is at its warn dose within {clock_words(cost.shared_s)}."


def _away(left_s: float) -> str:
    if left_s == 0.0:
        return "passed already"
    return "nowhere ahead" if math.isinf(left_s) else f"{clock_words(left_s)} away"
