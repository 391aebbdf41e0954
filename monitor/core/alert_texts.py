"""Words of the alerts: what is wrong, with the number, and what to do about it.

Plain sentences for three in the morning. Facts come from the assessment; nothing here decides anything.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from monitor.core.alert_points import Point
from monitor.core.assessment import LinerReading, SharedReading, StallPattern, StrandAssessment
from monitor.core.softening import REFERENCE_ABOVE_GLASS_K
from monitor.core.stall_texts import stall_action, stall_text


@dataclass(frozen=True, slots=True)
class Facts:
    """What a text may draw on: the point's value and level, and the strand, liner or shared channel it belongs to.

    Of what the shared channel holds, `shared` is the most aged; feeding `channel_mm` of strand renews the channel.
    """

    point: Point
    level: int
    value: float
    strand: StrandAssessment | None
    liner: LinerReading | None
    shared: SharedReading | None = None
    channel_mm: float = 0.0


def alert_text(facts: Facts) -> str:
    """What is wrong, in one line."""
    if facts.level == 0:
        return f"{facts.point.subject}: {facts.point.rule.title} is over"
    return _TEXTS[facts.point.rule.condition](facts)


def alert_action(facts: Facts) -> str:
    """What to do, in one line."""
    if facts.level == 0:
        return "Nothing; acknowledge it to take it off the list."
    return _ACTIONS[facts.point.rule.condition](facts)


def alert_limit(facts: Facts) -> float | None:
    """The limit of the level it is at, or of the first level once it is back to normal."""
    limit = facts.point.limits[max(1, facts.level) - 1]
    return limit if np.isfinite(limit) else None


def aged_length_mm(strand: StrandAssessment) -> float:
    """Strand to advance until all material past half its warn dose has gone by the merge point [mm].

    Half, because material that has used half its time would soon be back in the same place.
    """
    over = np.flatnonzero(strand.dose_min > strand.dose_warn_min / 2)
    if len(over) == 0:
        return 0.0
    half_cell_mm = (strand.x_mm[1] - strand.x_mm[0]) / 2
    return float(strand.x_mm[over[-1]] + half_cell_mm)


def _strand(facts: Facts) -> StrandAssessment:
    if facts.strand is None:
        raise ValueError(f"condition {facts.point.rule.condition!r} belongs to a strand; got none")
    return facts.strand


def _dose_text(facts: Facts) -> str:
    strand = _strand(facts)
    word = "past its limit" if facts.level > 1 else "ageing"
    dose_min = _range(strand.dose_low_min, strand.dose_now_min, ".0f")
    return (
        f"input {strand.input} ({strand.material}) is {word}: {dose_min} min at"
        f" {strand.reference_c:.0f} °C taken, warn at {strand.dose_warn_min:.0f}, limit {strand.dose_limit_min:.0f}"
    )


def _dose_action(facts: Facts) -> str:
    strand = _strand(facts)
    length_mm = aged_length_mm(strand)
    until = _within(strand) if facts.level == 1 else "before its next use"
    return (
        f"Advance input {strand.input} by {np.ceil(length_mm):.0f} mm {until} and purge it, or withdraw the strand and"
        " cut off the hot end. Mind hot parts."
    )


def _within(strand: StrandAssessment) -> str:
    """By when to act, and how sure that is."""
    low_s, high_s = strand.limit_left_s
    if not np.isfinite(low_s):
        return "before its next use"
    if not strand.doubt or not np.isfinite(high_s):
        return f"within {clock_words(low_s)}"
    return f"within {clock_words(low_s)} (perhaps {clock_words(high_s)}: least sure is the {strand.doubt})"


def _softening_text(facts: Facts) -> str:
    strand = _strand(facts)
    word = "has stood soft too long" if facts.level > 1 else "is soft"
    return (
        f"input {strand.input} ({strand.material}) {word} where it must be stiff: soft up to"
        f" {strand.soft_front_mm:.0f} mm, allowed {strand.stiff_from_mm:.0f} mm; {strand.softening_min:.1f} of"
        f" {strand.softening_limit_min:.0f} min at {strand.glass_c + REFERENCE_ABOVE_GLASS_K:.0f} °C taken"
    )


def _softening_action(facts: Facts) -> str:
    strand = _strand(facts)
    risk = "expect a jam at its next use: " if facts.level > 1 else ""
    return (
        f"Cool the cold end below {strand.glass_c:.0f} °C: check coolant, radiator and fan, or lower the manifold; then"
        f" {risk}advance input {strand.input} slowly, watching that it moves."
    )


def _ceiling_text(facts: Facts) -> str:
    strand = _strand(facts)
    return (
        f"input {strand.input} ({strand.material}) stands at a wall of {facts.value:.0f} °C,"
        f" {'above' if facts.value > facts.point.limits[0] else 'just back under'} the"
        f" {facts.point.limits[0]:.0f} °C it may ever see"
    )


def _ceiling_action(facts: Facts) -> str:
    return (
        f"Lower the manifold below {facts.point.limits[0]:.0f} °C or stop heating; air the room before going close,"
        f" then advance input {_strand(facts).input} until clean."
    )


def _liner_text(facts: Facts) -> str:
    liner, limit_c = facts.liner, alert_limit(facts)
    name = "liner" if liner is None else f"{liner.liner} liner"
    spent = "" if liner is None else f"; above {liner.warn_c:.0f} °C for {clock_words(liner.above_warn_s)} in all"
    return f"{name} in {facts.point.subject} is at {facts.value:.0f} °C, limit {limit_c:.0f} °C{spent}"


def _liner_action(facts: Facts) -> str:
    stop_c = facts.point.limits[2]
    if facts.level > 2:  # noqa: PLR2004 -- the third level is the stop limit
        return "Stop heating now. Do not go close before the room is aired: overheated liners give off harmful fumes."
    return f"Lower the manifold and check the coolant; heating must stop at {stop_c:.0f} °C. Keep the room aired."


def _cold_text(facts: Facts) -> str:
    strand = _strand(facts)
    origin = " (rule of thumb)" if strand.min_feed_is_rule else ""
    skipping = strand.stall if strand.stall is not None and strand.stall.pattern is StallPattern.COLD_SKIPPING else None
    proof = "" if skipping is None else f"; it skips: {skipping.evidence[0]}"
    return (
        f"the manifold is at {strand.merge_wall_c:.0f} °C, {strand.min_feed_c - strand.merge_wall_c:.0f} K below the"
        f" lowest feeding temperature {strand.min_feed_c:.0f} °C{origin} of input {strand.input}"
        f" ({strand.material}){proof}"
    )


def _cold_action(facts: Facts) -> str:
    strand = _strand(facts)
    return f"Raise the manifold to {strand.min_feed_c:.0f} °C or pause the build; look for skipping on {strand.input}."


def _standing_text(facts: Facts) -> str:
    low_s = _strand(facts).idle_low_s
    stood_h = _range(None if low_s is None else low_s / 3600.0, facts.value, ".1f")
    return f"input {_strand(facts).input} has stood hot for {stood_h} h"


def _standing_action(facts: Facts) -> str:
    return (
        f"Advance input {_strand(facts).input} through the hot path when the build allows, or withdraw it. Common"
        " practice, no source."
    )


def _shared_text(facts: Facts) -> str:
    held = facts.shared
    if held is None:
        return f"material between merge point and nozzle has aged to {facts.value:.0f} % of its warn dose"
    return (
        f"material of input {held.input} between merge point and nozzle, there for {clock_words(held.age_s)}, has aged"
        f" {held.dose_min:.0f} min: warn at {held.dose_warn_min:.0f}, limit {held.dose_limit_min:.0f}"
    )


def _shared_action(facts: Facts) -> str:
    return (
        f"Purge {np.ceil(facts.channel_mm):.0f} mm of strand, of whichever input is next, before the build goes on; or"
        " let the nozzle cool."
    )


def _stall_text(facts: Facts) -> str:
    strand = _strand(facts)
    return f"input {strand.input} ({strand.material}) {stall_text(strand.stall)}"


def _stall_action(facts: Facts) -> str:
    strand = _strand(facts)
    return stall_action(strand.input, strand.stall)


def _melt_text(facts: Facts) -> str:
    return (
        f"{facts.point.subject} gave {facts.value:.0f} J less than the feed should take: a strand that feeds does not"
        " arrive, or arrives in part"
    )


def _melt_action(_: Facts) -> str:
    return (
        "Pause the build. Look at the strand that feeds: drive, spool, cold end; and whether a fan or draught changed."
    )


def _sensor_text(facts: Facts) -> str:
    return f"{facts.point.subject} has not reported for {clock_words(facts.value)}"


def _sensor_action(facts: Facts) -> str:
    return (
        f"Check the wire of {facts.point.subject} and its name in the profile's link section; values there are guesses."
    )


def _link_text(facts: Facts) -> str:
    return f"no temperatures from the machine for {clock_words(facts.value)}"


def _link_action(_: Facts) -> str:
    return "Check power, cable and controller. Until data return, walls count as hot and strands as standing."


def _range(low: float | None, high: float, digits: str) -> str:
    """One number, or two where a gap in the data leaves the lower one possible."""
    upper, lower = format(high, digits), format(high if low is None else low, digits)
    return upper if lower == upper else f"{lower} to {upper}"


def clock_words(duration_s: float) -> str:
    """A duration in words short enough for a line.

    >>> clock_words(42), clock_words(600), clock_words(9000), clock_words(float("inf"))
    ('42 s', '10 min', '2 h 30 min', 'any time')
    """
    if not np.isfinite(duration_s):
        return "any time"
    minutes = int(duration_s // 60)
    if minutes < 2:  # noqa: PLR2004 -- below two minutes seconds matter
        return f"{duration_s:.0f} s"
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60} min"  # noqa: PLR2004 -- an hour


_TEXTS: Final[Mapping[str, Callable[[Facts], str]]] = {
    "dose": _dose_text,
    "softening": _softening_text,
    "ceiling": _ceiling_text,
    "liner": _liner_text,
    "cold_feed": _cold_text,
    "standing": _standing_text,
    "stall": _stall_text,
    "melt": _melt_text,
    "shared": _shared_text,
    "sensor": _sensor_text,
    "link": _link_text,
}
_ACTIONS: Final[Mapping[str, Callable[[Facts], str]]] = {
    "dose": _dose_action,
    "softening": _softening_action,
    "ceiling": _ceiling_action,
    "liner": _liner_action,
    "cold_feed": _cold_action,
    "standing": _standing_action,
    "stall": _stall_action,
    "melt": _melt_action,
    "shared": _shared_action,
    "sensor": _sensor_action,
    "link": _link_action,
}
