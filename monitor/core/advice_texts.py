"""Words of the advice about one strand: what to do, why, and what to mind. Decides nothing.

Plain sentences for three in the morning; the numbers come from the modules that reckon them.
"""

from typing import Final, NamedTuple

from monitor.core.advice_types import Advice, AdviceKind, Figure
from monitor.core.assessment import StrandAssessment
from monitor.core.duration_words import clock_words
from monitor.core.keep_moving import MOVE_MM_S, NIGHT_S, Moves
from monitor.core.typed_lines import LINES_NOTE, feed_lines
from monitor.core.withdrawal import Tip, Withdrawal

WITHDRAW_MM_S: Final = 5.0
_MIND: Final = "Not while the build feeds. Air the room before going close; hot parts, hot melt."


class Advance(NamedTuple):
    """How far a strand is to go, and what decides it.

    `length_mm` takes all past `above_min` of dose by the merge point, and all that has stood soft; `over_limit_mm` only
    what is past its limit. `purge_mm` of strand then renew what lies on the way to the nozzle.
    """

    length_mm: float
    over_limit_mm: float
    softened_mm: float
    above_min: float
    purge_mm: float
    is_weak: bool  # the strand is soft where it must be stiff


def advance_advice(strand: StrandAssessment, way: Advance) -> Advice:
    """Advance so far, nothing more."""
    what = f"advance input {strand.input} by {way.length_mm:.0f} mm"
    first = ""
    if way.is_weak:
        first, what = (
            f"Cool the cold end below {strand.glass_c:.0f} °C; then ",
            f"{what} slowly, watching that it moves",
        )
    elif strand.merge_wall_c < strand.min_feed_c:
        first = f"Heat the manifold to {strand.min_feed_c:.0f} °C; then "
    purge = f", and purge {way.purge_mm:.0f} mm of strand" if way.purge_mm > 0.0 else ""
    text = f"{first}{what}{purge}."
    reasons = [
        f"all that has taken more than {way.above_min:.0f} min, half its warn dose, is then past the merge point"
    ]
    if way.softened_mm > 0.0:
        reasons.append(f"{way.softened_mm:.0f} mm of it have stood soft where it must be stiff")
    return Advice(
        kind=AdviceKind.ADVANCE,
        input=strand.input,
        is_advised=True,
        text=_sentence(text),
        reason=_sentence(f"{'; '.join(reasons)}."),
        figures=(
            Figure("length_mm", way.length_mm),
            Figure("over_limit_mm", way.over_limit_mm),
            Figure("softened_mm", way.softened_mm),
            Figure("above_min", way.above_min),
            Figure("purge_mm", way.purge_mm),
        ),
        caution=f"{_MIND} Stop if the drive skips.",
        lines=feed_lines(way.length_mm, MOVE_MM_S),
        lines_note=LINES_NOTE,
    )


def withdraw_advice(strand: StrandAssessment, back: Withdrawal) -> Advice:
    """Withdraw and cut; or rather not, and why."""
    text, reason = _withdraw_words(strand, back)
    is_advised = back.tip is Tip.SOFT
    return Advice(
        kind=AdviceKind.WITHDRAW,
        input=strand.input,
        is_advised=is_advised,
        text=text,
        reason=reason,
        figures=(
            Figure("length_mm", back.length_mm),
            Figure("out_of_heat_mm", back.out_of_heat_mm),
            Figure("cut_mm", back.cut_mm),
            Figure("tip_c", back.tip_c),
            Figure("softens_c", back.softens_c),
        ),
        caution=f"{_MIND} Pull no further once it no longer moves freely; never load a tip that was not cut.",
        lines=feed_lines(-back.length_mm, WITHDRAW_MM_S) if is_advised else (),
        lines_note=LINES_NOTE if is_advised else "",
    )


def _withdraw_words(strand: StrandAssessment, back: Withdrawal) -> tuple[str, str]:
    name = f"input {strand.input}"
    match back.tip:
        case Tip.WEAK_STRAND:
            return (
                f"Do not withdraw {name} before the cold end is below {strand.glass_c:.0f} °C.",
                f"At {back.cold_side_c:.0f} °C the strand is soft where it must be stiff: it would neck or tear.",
            )
        case Tip.SET:
            return (
                f"Do not pull {name}: heat the manifold to {strand.min_feed_c:.0f} °C first.",
                f"Its tip is at {back.tip_c:.0f} °C and has set; it softens at {back.softens_c:.0f} °C.",
            )
        case Tip.SOFT:
            return (
                f"Withdraw {name} by {back.length_mm:.0f} mm while hot, and cut off {back.cut_mm:.0f} mm.",
                (
                    f"From {back.out_of_heat_mm:.0f} mm on it is out of the heat, but its tip is soft"
                    f" ({back.tip_c:.0f} °C, softens at {back.softens_c:.0f} °C): left in the cold end it sets there."
                ),
            )


def moves_advice(strand: StrandAssessment, plan: Moves | None, purge_mm: float) -> Advice:
    """Keep it moving for the night; or no such plan. `purge_mm` of strand renew what lies on the way to the nozzle."""
    if plan is None:
        return Advice(
            kind=AdviceKind.KEEP_MOVING,
            input=strand.input,
            is_advised=False,
            text=f"Small moves do not save input {strand.input} at these temperatures.",
            reason="It would have to move more than stand.",
            figures=(),
            caution="Lower the manifold, or withdraw it.",
        )
    needs_moves = plan.length_mm > 0.0
    return Advice(
        kind=AdviceKind.KEEP_MOVING,
        input=strand.input,
        is_advised=True,
        text=_moves_text(strand.input, plan, purge_mm),
        reason=(
            f"At these temperatures it then stays below half its warn dose, {strand.dose_warn_min / 2:.0f} min, for"
            f" {NIGHT_S / 3600.0:.0f} h."
        ),
        figures=(
            Figure("first_mm", plan.first_mm),
            Figure("purge_mm", purge_mm if plan.first_mm > 0.0 else 0.0),
            Figure("interval_s", plan.interval_s),
            Figure("length_mm", plan.length_mm),
            Figure("grams_per_h", plan.grams_per_h),
            Figure("below_min", strand.dose_warn_min / 2),
        ),
        caution=(
            "What moves goes into the part unless it is purged away from it. It holds while the build feeds: in a pause"
            " the melt on its way to the nozzle ages. Hot parts, hot melt."
        ),
        lines=feed_lines(plan.length_mm, MOVE_MM_S) if needs_moves else (),
        lines_note=LINES_NOTE if needs_moves else "",
    )


def _moves_text(number: int, plan: Moves, purge_mm: float) -> str:
    purge = f" and purge {purge_mm:.0f} mm" if purge_mm > 0.0 else ""
    first = f"first {plan.first_mm:.0f} mm{purge}, then " if plan.first_mm > 0.0 else ""
    if plan.length_mm == 0.0:
        fresh = f"Advance input {number} by {plan.first_mm:.0f} mm{purge}; then it" if first else f"Input {number}"
        return f"{fresh} may stand for {NIGHT_S / 3600.0:.0f} h."
    return (
        f"Keep input {number} moving: {first}{plan.length_mm:g} mm every {clock_words(plan.interval_s)}"
        f" ({plan.grams_per_h:.2f} g/h)."
    )


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
