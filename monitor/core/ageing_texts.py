"""Words of the alerts about strands that stand hot: aged, softened, or standing for long.

What to do comes from the advice, as lengths and temperatures; see advice.py. Decides nothing.
"""

import math

from monitor.core.advice_types import AdviceKind
from monitor.core.aged_part import whole_mm
from monitor.core.alert_facts import Facts, strand_of
from monitor.core.assessment import StrandAssessment
from monitor.core.duration_words import clock_words
from monitor.core.softening import REFERENCE_ABOVE_GLASS_K


def dose_text(facts: Facts) -> str:
    """Dose, and the limits it is held against."""
    strand = strand_of(facts)
    word = "past its limit" if facts.level > 1 else "ageing"
    dose_min = _range(strand.dose_low_min, strand.dose_now_min, ".0f")
    return (
        f"input {strand.input} ({strand.material}) is {word}: {dose_min} min at"
        f" {strand.reference_c:.0f} °C taken, warn at {strand.dose_warn_min:.0f}, limit {strand.dose_limit_min:.0f}"
    )


def dose_action(facts: Facts) -> str:
    """Advance or withdraw, by how much and by when."""
    strand = strand_of(facts)
    until = _within(strand) if facts.level == 1 else "before its next use"
    advance = f"{_heat(strand)}Advance input {strand.input}{_by(facts)} {until}"
    return f"{advance}{_purge(facts)}{_withdraw(facts)}. Mind hot parts."


def next_use_text(facts: Facts) -> str:
    """When it is needed, and how long it lasts at the least."""
    strand = strand_of(facts)
    needed = "soon" if strand.next_use_s is None else f"in {clock_words(strand.next_use_s)}"
    return (
        f"input {strand.input} ({strand.material}) is needed {needed}, but at these temperatures may pass its limit in"
        f" {clock_words(strand.limit_left_s.low)}"
    )


def next_use_action(facts: Facts) -> str:
    """Keep it fresh, by how much and by when."""
    strand = strand_of(facts)
    advance = f"{_heat(strand)}Advance input {strand.input}{_by(facts)} {_within(strand)}"
    return f"{advance}{_purge(facts)}{_withdraw(facts)}{_lower(facts)}. Mind hot parts."


def softening_text(facts: Facts) -> str:
    """How far it is soft, and how long it has been."""
    strand = strand_of(facts)
    word = "has stood soft too long" if facts.level > 1 else "is soft"
    return (
        f"input {strand.input} ({strand.material}) {word} where it must be stiff: soft up to"
        f" {strand.soft_front_mm:.0f} mm, allowed {strand.stiff_from_mm:.0f} mm; {strand.softening_min:.1f} of"
        f" {strand.softening_limit_min:.0f} min at {strand.glass_c + REFERENCE_ABOVE_GLASS_K:.0f} °C taken"
    )


def softening_action(facts: Facts) -> str:
    """Cool first; then bring through what has stood soft."""
    strand = strand_of(facts)
    risk = "expect a jam at its next use: " if facts.level > 1 else ""
    return (
        f"Cool the cold end below {strand.glass_c:.0f} °C: check coolant, radiator and fan{_lower(facts)}; then"
        f" {risk}advance input {strand.input}{_by(facts)} slowly, watching that it moves."
    )


def standing_text(facts: Facts) -> str:
    """For how long."""
    low_s = strand_of(facts).idle_low_s
    stood_h = _range(None if low_s is None else low_s / 3600.0, facts.value, ".1f")
    return f"input {strand_of(facts).input} has stood hot for {stood_h} h"


def standing_action(facts: Facts) -> str:
    """Renew what is hot."""
    strand = strand_of(facts)
    return (
        f"{_heat(strand)}Advance input {strand.input} by {whole_mm(strand.soft_front_mm):.0f} mm, all that is hot, when"
        f" the build allows{_withdraw(facts)}. Common practice, no source."
    )


def _heat(strand: StrandAssessment) -> str:
    """What must come before a strand is pushed that the manifold is too cold for."""
    return "" if strand.merge_wall_c >= strand.min_feed_c else f"Heat the manifold to {strand.min_feed_c:.0f} °C. "


def _by(facts: Facts) -> str:
    advance = facts.advised(AdviceKind.ADVANCE)
    return "" if advance is None else f" by {advance.figure('length_mm'):.0f} mm"


def _purge(facts: Facts) -> str:
    return f" and purge {whole_mm(facts.channel_mm):.0f} mm" if facts.channel_mm > 0.0 else ""


def _withdraw(facts: Facts) -> str:
    """The other way out, where the tip allows it."""
    back = facts.advised(AdviceKind.WITHDRAW)
    if back is None or not back.is_advised:
        return ""
    return f"; or withdraw it {back.figure('length_mm'):.0f} mm and cut off {back.figure('cut_mm'):.0f}"


def _lower(facts: Facts) -> str:
    """To which set point, where a lower one is known that every strand in use can feed at."""
    point = facts.advised(AdviceKind.SET_POINT)
    if point is None:
        return ""
    set_c = point.figure("set_c")
    is_lower = set_c < min(point.figure("now_c"), point.figure("least_ceiling_c"))
    return f", and lower the manifold to {set_c:.0f} °C" if is_lower else ""


def _within(strand: StrandAssessment) -> str:
    """By when to act, and how sure that is."""
    low_s, high_s = strand.limit_left_s
    if not math.isfinite(low_s):
        return "before its next use"
    if not strand.doubt or not math.isfinite(high_s):
        return f"within {clock_words(low_s)}"
    return f"within {clock_words(low_s)} (perhaps {clock_words(high_s)}: least sure is the {strand.doubt})"


def _range(low: float | None, high: float, digits: str) -> str:
    """One number, or two where a gap in the data leaves the lower one possible."""
    upper, lower = format(high, digits), format(high if low is None else low, digits)
    return upper if lower == upper else f"{lower} to {upper}"
