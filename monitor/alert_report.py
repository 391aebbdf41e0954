"""The table of alerts in words: what may call the owner, why, how urgently and with what manners."""

from collections.abc import Iterator
from textwrap import wrap
from typing import Final

from monitor.core.alert_rule import Rule
from monitor.core.alert_table import ALERT_TABLE
from monitor.core.alert_types import Priority
from monitor.core.duration_words import clock_words

_HEAD: Final = 16
_WIDTH: Final = 100
_INTRODUCTION: Final = (
    "What may raise an alert. Limits come from the strands' materials, the liners and [alerts] in the profile; delays,"
    " deadbands and times to respond are judgement. Alerts with one cause are shown as one, which names the others."
)


def alert_table_lines() -> Iterator[str]:
    """The whole table, one block for each condition."""
    yield from wrap(_INTRODUCTION, _WIDTH)
    for rule in ALERT_TABLE.values():
        yield ""
        yield from _block(rule)


def _block(rule: Rule) -> Iterator[str]:
    urgency = ", then ".join(dict.fromkeys(priority.name for priority in rule.priorities))
    yield f"{rule.condition} ({rule.title}): {urgency}"
    yield from _row("cause", rule.cause)
    yield from _row("if ignored", rule.consequence)
    yield from _row("do", rule.action)
    yield from _row("respond within", _response(rule))
    yield from _row("manners", "; ".join(_manners(rule)))
    if rule.group:
        yield from _row("one cause with", ", ".join(_relatives(rule)))


def _response(rule: Rule) -> str:
    within = clock_words(rule.respond_within_s)
    if rule.first_within_s is not None:
        within = f"{clock_words(rule.first_within_s)}, as an ALARM {within}"
    if Priority.WARNING not in rule.priorities:
        return within
    return f"{within}; a WARNING unseen for {clock_words(rule.within_s(1) / 2)} becomes an ALARM"


def _manners(rule: Rule) -> Iterator[str]:
    yield f"rises after {clock_words(rule.on_delay_s)}, clears after {clock_words(rule.off_delay_s)}"
    if rule.deadband:
        yield f"deadband {rule.deadband:g} {rule.unit}"
    if rule.needs_walls:
        yield "neither rises nor clears while a wall sensor is silent"
    elif rule.needs_fresh:
        yield "neither rises nor clears while the machine is silent"
    else:
        yield "goes on while no data come"
    if rule.latches_from:
        level = "" if rule.latches_from == 1 else f", from its level {rule.latches_from} on,"
        yield f"once over{level} it is held until somebody has looked and resets it"
    if rule.re_alarm_s is not None:
        yield f"seen but standing, an ALARM calls again after {clock_words(rule.re_alarm_s)}"
    if rule.suppressed_by:
        yield f"held back while {' or while '.join(rule.suppressed_by)}"


def _relatives(rule: Rule) -> Iterator[str]:
    is_own = "{subject}" in rule.group
    for other in ALERT_TABLE.values():
        if other is not rule and other.group == rule.group:
            yield f"{other.condition} of the same input" if is_own else other.condition
        elif other is rule and not is_own:
            yield "its own kind"


def _row(head: str, text: str) -> Iterator[str]:
    for index, line in enumerate(wrap(text, _WIDTH - _HEAD)):
        yield f"  {head if index == 0 else '':{_HEAD}}{line}"
