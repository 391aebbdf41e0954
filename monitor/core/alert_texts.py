"""Words of the alerts: what is wrong, with the number, and what to do about it.

Plain sentences for three in the morning. Facts come from the assessment; nothing here decides anything.
"""

from collections.abc import Callable, Mapping
from typing import Final

import numpy as np

from monitor.core.advice_types import AdviceKind
from monitor.core.ageing_texts import (
    dose_action,
    dose_text,
    next_use_action,
    next_use_text,
    softening_action,
    softening_text,
    standing_action,
    standing_text,
)
from monitor.core.alert_facts import Facts, strand_of
from monitor.core.duration_words import clock_words
from monitor.core.sensor_texts import (
    cooling_action,
    cooling_text,
    heater_high_action,
    heater_high_text,
    heater_low_action,
    heater_low_text,
    implausible_action,
    implausible_text,
    link_action,
    link_text,
    sensor_action,
    sensor_text,
)
from monitor.core.stall_findings import StallPattern
from monitor.core.stall_texts import stall_action, stall_text


def alert_text(facts: Facts) -> str:
    """What is wrong, in one line."""
    if facts.level == 0:
        return f"{facts.point.rule.title} is over"  # of what, stands before it wherever it is told
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


def _ceiling_text(facts: Facts) -> str:
    strand = strand_of(facts)
    return (
        f"input {strand.input} ({strand.material}) stands at a wall of {facts.value:.0f} °C,"
        f" {'above' if facts.value > facts.point.limits[0] else 'just back under'} the"
        f" {facts.point.limits[0]:.0f} °C it may ever see"
    )


def _ceiling_action(facts: Facts) -> str:
    return (
        f"Lower the manifold below {facts.point.limits[0]:.0f} °C or stop heating; air the room before going close,"
        f" then advance input {strand_of(facts).input} until clean."
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
    strand = strand_of(facts)
    origin = " (rule of thumb)" if strand.min_feed_is_rule else ""
    skipping = strand.stall if strand.stall is not None and strand.stall.pattern is StallPattern.COLD_SKIPPING else None
    proof = "" if skipping is None else f"; it skips: {skipping.evidence[0]}"
    if strand.merge_wall_c >= strand.min_feed_c:
        return f"the manifold is back at {strand.merge_wall_c:.0f} °C, enough for input {strand.input}"
    return (
        f"the manifold is at {strand.merge_wall_c:.0f} °C, {strand.min_feed_c - strand.merge_wall_c:.0f} K below the"
        f" lowest feeding temperature {strand.min_feed_c:.0f} °C{origin} of input {strand.input}"
        f" ({strand.material}){proof}"
    )


def _cold_action(facts: Facts) -> str:
    strand, need = strand_of(facts), facts.neediest or strand_of(facts)
    least_c, set_c = max(need.min_feed_c, strand.min_feed_c), facts.merge_set_c
    stop = "pause the build" if facts.is_building else "feed nothing"
    if strand.merge_wall_c >= least_c:
        return "Nothing yet; it clears within a minute."
    if set_c is not None and set_c >= least_c and facts.is_on_its_way:
        return f"Wait: the manifold is on its way to its set point of {set_c:.0f} °C; until then {stop}."
    if set_c is not None and set_c >= least_c:
        return (
            f"{stop.capitalize()}: the manifold does not come to its set point of {set_c:.0f} °C. Look at its heater,"
            f" wire and supply, and for a draught; look for skipping on {strand.input}."
        )
    point = facts.advised(AdviceKind.SET_POINT)
    if point is not None and not point.is_advised and point.figure("set_c") > point.figure("now_c"):
        return f"{stop.capitalize()}. {point.text} {point.reason}"
    return (
        f"Raise the manifold to {facts.enough_c:.0f} °C (input {need.input} needs {need.min_feed_c:.0f}) or {stop};"
        f" look for skipping on input {strand.input}."
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
    strand = strand_of(facts)
    return f"input {strand.input} ({strand.material}) {stall_text(strand.stall)}"


def _stall_action(facts: Facts) -> str:
    strand = strand_of(facts)
    return stall_action(strand.input, strand.stall, is_building=facts.is_building)


def _melt_text(facts: Facts) -> str:
    if not np.isfinite(facts.value):
        return f"{facts.point.subject} gives what the feed should take again"
    return (
        f"{facts.point.subject} gave {facts.value:.0f} J less than the feed should take: a strand that feeds does not"
        " arrive, or arrives in part"
    )


def _melt_action(facts: Facts) -> str:
    first = "Pause the build. " if facts.is_building else ""
    return f"{first}Look at the strand that feeds: drive, spool, cold end; and whether a fan or draught changed."


_TEXTS: Final[Mapping[str, Callable[[Facts], str]]] = {
    "dose": dose_text,
    "softening": softening_text,
    "ceiling": _ceiling_text,
    "liner": _liner_text,
    "cold_feed": _cold_text,
    "standing": standing_text,
    "stall": _stall_text,
    "next_use": next_use_text,
    "melt": _melt_text,
    "shared": _shared_text,
    "heater_low": heater_low_text,
    "heater_high": heater_high_text,
    "cooling": cooling_text,
    "implausible": implausible_text,
    "sensor": sensor_text,
    "link": link_text,
}
_ACTIONS: Final[Mapping[str, Callable[[Facts], str]]] = {
    "dose": dose_action,
    "softening": softening_action,
    "ceiling": _ceiling_action,
    "liner": _liner_action,
    "cold_feed": _cold_action,
    "standing": standing_action,
    "stall": _stall_action,
    "next_use": next_use_action,
    "melt": _melt_action,
    "shared": _shared_action,
    "heater_low": heater_low_action,
    "heater_high": heater_high_action,
    "cooling": cooling_action,
    "implausible": implausible_action,
    "sensor": sensor_action,
    "link": link_action,
}
