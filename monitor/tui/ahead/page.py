"""The page of what is to come: when each strand is needed next, against the time it has left.

The hours are those of an assessment: what happens if nothing changes, by its cautious end. Next uses are known only
where the watch follows the plan of its build.
"""

import math
from typing import Final

from monitor.core.assessment import Activity, Assessment, StrandAssessment
from monitor.tui.ahead.bar import ahead_bar, horizon_s, hours_line, look_of
from monitor.tui.alert_band import alert_band
from monitor.tui.ink import BOLD, DIM, EMPTY, PLAIN, Line, Span, crop, fit, hanging
from monitor.tui.strand_rows import is_doubtful, mark_of
from monitor.tui.view import View
from monitor.tui.words import duration, name_of, next_mark, time_left

_NAME_CELLS: Final = 18
_WIDE_NAME_CELLS: Final = 30
_WIDE_FROM_CELLS: Final = 110
_LEAST_BAND_ROWS: Final = 5
_NO_PLAN: Final = (
    "When a strand is needed next is not known: a watch started with --plan FILE follows the build along its file."
)


def ahead_page(view: View, latest: Assessment, width: int, rows: int) -> list[Line]:
    """The alerts, then every strand along the hours; what is to come in words as far as there is room."""
    foot = [*_next_line(latest, width), _legend(width)]
    whole, short = (ahead_rows(view, latest, width, is_short=is_short) for is_short in (False, True))
    band = alert_band(view, latest, width, max(_LEAST_BAND_ROWS, rows - len(whole) - len(foot) - 1))
    for table in (whole, short):
        for below in ([EMPTY, *foot], foot[-1:], []):
            if len(band) + 1 + len(table) + len(below) <= rows:
                return [*band, EMPTY, *table, *below]
    return [*band, *short]


def ahead_rows(view: View, latest: Assessment, width: int, *, is_short: bool = False) -> list[Line]:
    """Title with the hours, and every strand; `is_short` leaves out the words."""
    horizon = horizon_s(latest.strands)
    names = _NAME_CELLS if width < _WIDE_FROM_CELLS else _WIDE_NAME_CELLS
    cells = max(1, width - names)
    lines = [crop((Span(fit("  in to come", names), DIM), *hours_line(horizon, cells)), width)]
    for strand in latest.strands:
        look = look_of(strand, doubtful=is_doubtful(strand, view))
        head = (
            Span(" "),
            mark_of(strand, view.alerts),
            Span(fit(f"{strand.input:>2} {name_of(strand)}", names - 3), look),
        )
        lines.append(crop((*head, Span(" "), *ahead_bar(strand, horizon, cells, look)), width))
        if not is_short:
            lines.append(crop((Span(" " * 5), Span(verdict(strand), look)), width))
    return lines


def verdict(strand: StrandAssessment) -> str:
    """When it is needed, and whether it lasts until then."""
    if strand.activity is Activity.FEEDING:
        return "feeding now: its material leaves before it ages"
    if strand.activity is Activity.COLD:
        return "cold: nothing ages it as long as it stays so"
    if strand.activity is Activity.WITHDRAWN:
        return "withdrawn: it does not age"
    if strand.next_use_s is None:
        return time_left(strand)
    if math.isinf(strand.next_use_s):
        return f"not needed again in this build; {time_left(strand)}"
    return f"needed in {duration(strand.next_use_s)}; {_against(strand, strand.next_use_s)}"


def _against(strand: StrandAssessment, use_s: float) -> str:
    mark, left = next_mark(strand)
    if left.low <= 0:
        return "its limit is passed already"
    if math.isinf(left.low):
        return "no limit ahead"
    if left.low < use_s:
        return f"it passes its {mark} dose {duration(use_s - left.low)} before that"
    return f"its {mark} dose comes {duration(left.low - use_s)} later"


def _next_line(latest: Assessment, width: int) -> list[Line]:
    uses = sorted((s.next_use_s, s.input) for s in latest.strands if s.next_use_s is not None)
    coming = [f"input {number} in {duration(in_s)}" for in_s, number in uses if math.isfinite(in_s)]
    if coming:
        return hanging("  next: ", ", ".join(coming), width, BOLD)
    if uses:
        return [(Span("  no strand that stands now is needed again", PLAIN),)]
    return hanging("  ", _NO_PLAN, width, DIM)


def _legend(width: int) -> Line:
    text = "  ━ within its doses  ▒ past warn  L limit  ▓ past it  ↓ needed  ─ nothing ages it"
    return (Span(fit(text, width).rstrip(), DIM),)
