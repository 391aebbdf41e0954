"""The band of alerts at the top: what is wrong, on which input, since when, what to do.

An action is either shown whole, wrapped, or not at all; it is never cut. Priority shows as a word, a symbol, a place
(most urgent first) and, where allowed, a colour; an alert not yet acknowledged is reversed.
"""

from collections.abc import Sequence
from typing import Final

from monitor.core.alert_table import ALERT_TABLE
from monitor.core.alert_types import Alert, AlertState, Priority
from monitor.core.assessment import Assessment, StrandAssessment
from monitor.core.stall_findings import StallPattern
from monitor.tui.ink import BOLD, DIM, PLAIN, Line, Look, Span, crop, fit, hanging, width_of
from monitor.tui.view import View
from monitor.tui.words import SYMBOL, duration, name_of, next_mark, time_left

_ASKS_FOR_ATTENTION: Final = frozenset({AlertState.UNACKNOWLEDGED})


def alert_band(view: View, latest: Assessment, width: int, rows: int) -> list[Line]:
    """All alerts in full where `rows` allow; else the chosen one in full and a line for each of the others."""
    alerts = view.alerts
    if not alerts and not view.has_data:
        return []
    if not alerts:
        quiet = _all_quiet(latest, width, is_old=view.is_old, ended=view.ended is not None)
        return [*(_held_back_line(alert, latest.time_s, width) for alert in _held_back(latest)), quiet][:rows]
    full = [_in_full(alert, latest, width, chosen=at == view.chosen) for at, alert in enumerate(alerts)]
    if sum(map(len, full)) <= rows:
        return [line for block in full for line in block]
    return _around_chosen(alerts, full, view.chosen, width, rows)


def most_urgent_line(view: View, width: int) -> list[Line]:
    """One line for the most urgent alert, for pages that have no room for the band; nothing without alerts."""
    return [_in_a_line(alert, width) for alert in view.alerts[:1]]


def mark_look(alert: Alert) -> Look:
    """Look of the mark of an alert: reversed until acknowledged, dim and without colour once it has cleared."""
    if alert.state is AlertState.RETURNED:
        return DIM
    return Look(signal=alert.priority, bold=True, reverse=alert.state in _ASKS_FOR_ATTENTION)


def _in_full(alert: Alert, latest: Assessment, width: int, *, chosen: bool) -> list[Line]:
    now_s, strands = latest.time_s, latest.strands
    body = DIM if alert.state is AlertState.RETURNED else PLAIN
    since = f"  {since_words(alert, now_s)}{_time_to_act(alert, now_s)}"
    head: Line = (
        Span("▸" if chosen else " "),
        Span(f"{SYMBOL[alert.priority]} {alert.priority.name}", mark_look(alert)),
        Span(f" {alert.subject}", BOLD if body is PLAIN else DIM),
    )
    room = width - width_of(head) - len(since)
    title = f", {_fault(alert, strands) or title_of(alert)}"
    head += (Span(title if len(title) <= room else "", BOLD if body is PLAIN else DIM), Span(since, DIM))
    told = hanging("  ", alert.text, width, body)
    act = hanging("  do: ", alert.action, width, BOLD if body is PLAIN else DIM) if alert.action else []
    return [crop(head, width), *told, *act]


def _fault(alert: Alert, strands: Sequence[StrandAssessment]) -> str:
    """Which stall it is, as far as that is known; else nothing."""
    found = next((it.stall for it in strands if it.input == alert.input), None)
    if alert.condition != "stall" or found is None:
        return ""
    if found.pattern is StallPattern.RUN_OUT_OR_TANGLE and found.is_final:
        return "tangle" if found.is_held else "run-out"
    return found.pattern.value


def since_words(alert: Alert, now_s: float) -> str:
    """The state's name, and since when: an alert that somebody has seen, or that is over, was raised so long ago."""
    age = duration(now_s - alert.since_s)
    is_new = alert.state is AlertState.UNACKNOWLEDGED
    return f"{alert.state.value}, for {age}" if is_new else f"{alert.state.value}, raised {age} ago"


def _held_back(latest: Assessment) -> Sequence[Alert]:
    """What somebody holds back and would have called: nowhere else on the page is it told."""
    return [
        alert
        for alert in latest.held_back
        if alert.priority >= Priority.WARNING and alert.state is not AlertState.SUPPRESSED
    ]


def _held_back_line(alert: Alert, now_s: float, width: int) -> Line:
    until = "" if alert.held_back_until_s is None else f" for {duration(alert.held_back_until_s - now_s)} more"
    head = f"  {SYMBOL[alert.priority]} {alert.priority.name} {alert.subject}, {title_of(alert)}: "
    return crop((Span(head, BOLD), Span(f"{alert.state.value}{until}: {alert.why_held_back}", PLAIN)), width)


def title_of(alert: Alert) -> str:
    """What it is about, in general."""
    return ALERT_TABLE[alert.condition].title if alert.condition in ALERT_TABLE else alert.condition


def _time_to_act(alert: Alert, now_s: float) -> str:
    """How long there is to respond, unless the action itself names a time."""
    if alert.respond_within_s is None or alert.state is not AlertState.UNACKNOWLEDGED or " within " in alert.action:
        return ""
    left_s = alert.respond_within_s - (now_s - alert.since_s)
    return f"; act within {duration(left_s)}" if left_s > 0 else "; act now"


def _in_a_line(alert: Alert, width: int) -> Line:
    head = f"{SYMBOL[alert.priority]} {alert.priority.name}"
    return crop(
        (Span(" "), Span(head, mark_look(alert)), Span(f" {alert.subject}: ", BOLD), Span(alert.text)),
        width,
    )


def _around_chosen(
    alerts: Sequence[Alert], full: Sequence[list[Line]], chosen: int, width: int, rows: int
) -> list[Line]:
    """The chosen alert in full among its neighbours, others in full as far as they fit; the rest is counted."""
    first, last = _window(len(alerts), chosen, rows - len(full[chosen]))
    hidden = [alert for at, alert in enumerate(alerts) if not first <= at < last]
    spare = rows - len(full[chosen]) - (last - first - 1) - bool(hidden)
    lines: list[Line] = []
    for at in range(first, last):
        more = 0 if at == chosen else len(full[at]) - 1
        if more <= max(0, spare):
            spare -= more
            lines += full[at]
        else:
            lines.append(_in_a_line(alerts[at], width))
    return [*lines, _counted(hidden, width)] if hidden else lines


def _window(alerts: int, chosen: int, spare: int) -> tuple[int, int]:
    """First and last index of the alerts that get a line, when `spare` lines are left beside the chosen one."""
    if spare >= alerts - 1:
        return 0, alerts
    around = max(0, spare - 1)
    first = max(0, min(chosen - around // 2, alerts - 1 - around))
    return first, first + around + 1


def _counted(hidden: Sequence[Alert], width: int) -> Line:
    most_urgent = max(alert.priority for alert in hidden)
    text = f"  {len(hidden)} more, up to {most_urgent.name}: arrow keys ↑↓ show them"
    return (Span(fit(text, min(width, len(text))), BOLD),)


def _all_quiet(latest: Assessment, width: int, *, is_old: bool, ended: bool) -> Line:
    """Without alerts: whose time runs out first, so that the owner may sleep on it."""
    if ended:
        return crop((Span("  no alerts stood when the watch ended", BOLD),), width)
    if is_old:
        return crop((Span("  no alerts, but the values below are not those of now", BOLD),), width)
    nearest = _nearest(latest.strands)
    text = "  no alerts; no strand nears a limit"
    if nearest is not None:
        text = f"  no alerts; next: input {nearest.input}, {name_of(nearest)}, at least {_left(nearest)}"
    return crop((Span(text),), width)


def _nearest(strands: Sequence[StrandAssessment]) -> StrandAssessment | None:
    """The strand that reaches its next mark first, if any does."""
    running = [strand for strand in strands if next_mark(strand)[1].low != float("inf")]
    return min(running, key=lambda strand: next_mark(strand)[1].low, default=None)


def _left(strand: StrandAssessment) -> str:
    mark, span = next_mark(strand)
    return f"{duration(span.low)} to its {mark} dose" if span.low > 0 else time_left(strand)


def notice_lines(notice: str, width: int) -> list[Line]:
    """What the owner must know about the watch itself; nothing without a notice."""
    if not notice:
        return []
    mark = Span(f"{SYMBOL[Priority.WARNING]} WARNING", Look(signal=Priority.WARNING, bold=True, reverse=True))
    return [crop((Span(" "), mark, Span(" the watch itself", BOLD)), width), *hanging("  ", notice, width)]
