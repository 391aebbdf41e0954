"""Words of the alerts about strands that stand hot: aged, softened, or standing for long.

What to do comes from the advice, as lengths and temperatures; see advice.py. Decides nothing.
"""

import math
from typing import Final

from monitor.core.advice_types import AdviceKind
from monitor.core.aged_part import whole_mm
from monitor.core.alert_facts import Facts, strand_of
from monitor.core.assessment import StrandAssessment
from monitor.core.duration_words import clock_words
from monitor.core.softening import REFERENCE_ABOVE_GLASS_K
from monitor.core.stall_findings import NOT_FORWARD


def dose_text(facts: Facts) -> str:
    """Dose, and the limits it is held against."""
    strand = strand_of(facts)
    word = "past its limit" if facts.level > 1 else "ageing"
    dose_min = _range(strand.dose_low_min, strand.dose_now_min, ".0f")
    return (
        f"input {strand.input} ({strand.material}) is {word}: {dose_min} min at"
        f" {strand.reference_c:.0f} °C taken, warn at {strand.dose_warn_min:.0f}, limit {strand.dose_limit_min:.0f}"
        f"{_perhaps(strand) if facts.level == 1 else ''}"
    )


def dose_action(facts: Facts) -> str:
    """Advance or withdraw, by how much and by when."""
    strand = strand_of(facts)
    until = _within(strand) if facts.level == 1 else _BEFORE_USE
    return f"{_renew(facts, until)}. Mind hot parts."


def next_use_text(facts: Facts) -> str:
    """When it is needed, and how long it lasts at the least."""
    strand = strand_of(facts)
    needed = "soon" if strand.next_use_s is None else f"in {clock_words(strand.next_use_s)}"
    return (
        f"input {strand.input} ({strand.material}) is needed {needed}, but at these temperatures may pass its limit in"
        f" {clock_words(strand.limit_left_s.low)}{_perhaps(strand)}"
    )


def next_use_action(facts: Facts) -> str:
    """Keep it fresh, by how much and by when."""
    return f"{_renew(facts, _within(strand_of(facts)))}{_lower(facts)}. Mind hot parts."


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
    until = "when the build allows" if facts.is_building else _BEFORE_USE
    by = f" by {whole_mm(strand.soft_front_mm):.0f} mm, all that is hot,"
    return f"{_first_then(strand, f'advance input {strand.input}{by}', until)}{_withdraw(facts)}."


_BEFORE_USE: Final = "before its next use"
_FAR_S: Final = 100 * 3600.0  # nobody waits so long: a machine that has cooled


def _renew(facts: Facts, until: str) -> str:
    """Advance, or withdraw where the tip allows it."""
    strand = strand_of(facts)
    return f"{_first_then(strand, f'advance input {strand.input}{_by(facts)}', until)}{_purge(facts)}{_withdraw(facts)}"


def _first_then(strand: StrandAssessment, what: str, until: str) -> str:
    """What to do and by when, after what must come before a strand can be pushed at all."""
    if strand.stall is not None and strand.stall.pattern in NOT_FORWARD:
        return f"First mend its feed, as its own alert says; then {what} {until}"
    if _is_cold(strand):
        return f"{_sentence(until)} heat the manifold to {strand.min_feed_c:.0f} °C, then {what}".removesuffix(",")
    return f"{_sentence(what)} {until}"


def _is_cold(strand: StrandAssessment) -> bool:
    return strand.merge_wall_c < strand.min_feed_c


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _by(facts: Facts) -> str:
    advance = facts.advised(AdviceKind.ADVANCE)
    return "" if advance is None else f" by {advance.figure('length_mm'):.0f} mm"


def _purge(facts: Facts) -> str:
    return f" and purge {whole_mm(facts.channel_mm):.0f} mm" if facts.channel_mm > 0.0 else ""


def _withdraw(facts: Facts) -> str:
    """The other way out, where the tip allows it: a tip that has set does once it is heated."""
    back, strand = facts.advised(AdviceKind.WITHDRAW), strand_of(facts)
    is_weak = strand.soft_front_mm > strand.stiff_from_mm
    if back is None or not (back.is_advised or (_is_cold(strand) and not is_weak)):
        return ""
    return f"; or withdraw it {back.figure('length_mm'):.0f} mm and cut off {back.figure('cut_mm'):.0f} mm"


def _lower(facts: Facts) -> str:
    """To which set point, where a lower one is known that every strand in use can feed at."""
    point = facts.advised(AdviceKind.SET_POINT)
    if point is None:
        return ""
    set_c = point.figure("set_c")
    is_lower = set_c < min(point.figure("now_c"), point.figure("least_ceiling_c"))
    return f", and lower the manifold to {set_c:.0f} °C" if is_lower else ""


def _within(strand: StrandAssessment) -> str:
    """By when to act, on the safe side."""
    low_s = strand.limit_left_s.low
    return f"within {clock_words(low_s)}" if low_s < _FAR_S else _BEFORE_USE


def _perhaps(strand: StrandAssessment) -> str:
    """How much longer it may last, and what makes most of that doubt."""
    high_s = strand.limit_left_s.high
    if not strand.doubt or not math.isfinite(high_s):
        return ""
    return f"; it may last {clock_words(high_s)}, least sure is the {strand.doubt}"


def _range(low: float | None, high: float, digits: str) -> str:
    """One number, or two where a gap in the data leaves the lower one possible."""
    upper, lower = format(high, digits), format(high if low is None else low, digits)
    return upper if lower == upper else f"{lower} to {upper}"
