"""The page of alerts: all that are not at rest, one line each, and the marked one in full with its advice and story.

What is shelved, suppressed or out of service stands in the list too: nowhere else is it named.
"""

from collections.abc import Iterator, Sequence

from monitor.core.advice_types import Advice
from monitor.core.alert_table import ALERT_TABLE
from monitor.core.alert_types import HELD_BACK, Alert, AlertState, Moment
from monitor.core.assessment import Assessment
from monitor.tui.alert_band import mark_look, since_words, title_of
from monitor.tui.ink import BOLD, DIM, EMPTY, PLAIN, Line, Span, crop, hanging
from monitor.tui.view import View
from monitor.tui.words import SYMBOL, duration

_LEAST_LIST = 3


def alert_page(view: View, latest: Assessment, width: int, rows: int) -> list[Line]:
    """The list, as far as there is room beside the marked alert in full."""
    listed = view.listed
    if not listed:
        return [(Span("  no alerts, and none held back", BOLD),)]
    chosen = view.chosen
    full = list(_in_full(listed[chosen], latest, width))
    room = max(_LEAST_LIST, rows - len(full) - 1)
    return [*_list(listed, chosen, latest.time_s, width, room), EMPTY, *full]


def _list(listed: Sequence[Alert], chosen: int, now_s: float, width: int, room: int) -> Iterator[Line]:
    """A line for each alert around the marked one; how many there are besides is counted in the last line."""
    shown = len(listed) if len(listed) <= room else room - 1
    first = max(0, min(chosen - shown // 2, len(listed) - shown))
    for at in range(first, first + shown):
        yield _in_a_line(listed[at], now_s, width, chosen=at == chosen)
    if shown < len(listed):
        yield (Span(f"  {len(listed) - shown} more: arrow keys ↑↓ show them", BOLD),)


def _in_a_line(alert: Alert, now_s: float, width: int, *, chosen: bool) -> Line:
    is_quiet = alert.state in HELD_BACK or alert.state is AlertState.RETURNED
    head = (
        Span("▸" if chosen else " "),
        Span(f"{SYMBOL[alert.priority]} {alert.priority.name:<7}", DIM if is_quiet else mark_look(alert)),
        Span(f" {alert.subject}, {title_of(alert)}  ", DIM if is_quiet else BOLD),
        Span(_state_words(alert, now_s), DIM),
    )
    return crop(head, width)


def _in_full(alert: Alert, latest: Assessment, width: int) -> Iterator[Line]:
    rule = ALERT_TABLE.get(alert.condition)
    yield from hanging("  what  ", alert.text, width, BOLD)
    yield from hanging("  do    ", alert.action, width, BOLD)
    if rule is not None:
        yield from hanging("  why   ", f"{rule.cause}; if ignored, {rule.consequence}", width, PLAIN)
    if alert.folded_under:
        yield from hanging("  with  ", f"folded under {alert.folded_under}, which has the same cause", width, DIM)
    for piece in latest.advice:
        if piece.is_advised and piece.input in {None, alert.input}:
            yield from hanging("  may   ", _advice_words(piece), width, PLAIN)
    yield from hanging("  story ", "; ".join(_moment_words(it, latest.time_s) for it in alert.story), width, DIM)


def _state_words(alert: Alert, now_s: float) -> str:
    if alert.held_back_until_s is not None:
        return f"{alert.state.value} for {duration(alert.held_back_until_s - now_s)} more: {alert.why_held_back}"
    if alert.why_held_back:
        return f"{alert.state.value}: {alert.why_held_back}"
    return since_words(alert, now_s)


def _advice_words(piece: Advice) -> str:
    typed = f" To type: {' / '.join(piece.lines)} ({piece.lines_note})" if piece.lines else ""
    return f"{piece.text} ({piece.reason}){typed} Mind: {piece.caution}"


def _moment_words(moment: Moment, now_s: float) -> str:
    who = "" if moment.actor == "engine" else f" by {moment.actor}"
    why = f" ({moment.why})" if moment.why else ""
    return f"{moment.event}{why}{who} {duration(now_s - moment.time_s)} ago, {moment.priority.name}"
