"""One line per input: what each strand does, its dose, the time it has left, how far it is soft.

The mark in front is the symbol of the most urgent alert of that input; a value that is not of now is dim and
carries a question mark.
"""

from collections.abc import Sequence
from typing import Final

from monitor.core.alert_types import Alert
from monitor.core.assessment import Assessment, Condition, Quality, StrandAssessment
from monitor.tui.alert_band import mark_look
from monitor.tui.columns import Column, columns_for
from monitor.tui.ink import DIM, PLAIN, Line, Look, Span, crop, fit, hanging
from monitor.tui.view import View
from monitor.tui.words import PRIORITY_OF, STANDS_IN, SYMBOL, balance_words, next_mark, stand_in_words

_HEAD_CELLS: Final = 5


def strand_rows(view: View, latest: Assessment, width: int, rows: int) -> list[Line]:
    """Title and a line per strand in at most `rows` lines; strands without room are counted, most urgent kept."""
    strands = latest.strands
    has_plan = any(strand.next_use_s is not None for strand in strands)
    columns = columns_for(width - _HEAD_CELLS, has_plan=has_plan)
    title = [_title(columns, width)] if rows > len(strands) else []
    shown = _most_urgent(strands, view.alerts, rows - len(title))
    lines = [_row(strand, view, columns, width) for strand in shown]
    if len(shown) < len(strands):
        text = f"    {len(strands) - len(shown)} more inputs, none more urgent: make the window taller"
        lines.append((Span(fit(text, width), DIM),))
    return [*title, *lines]


def stand_in_lines(latest: Assessment, width: int) -> list[Line]:
    """Name, below the rows, the values that are those of another material."""
    told = (stand_in_words(strand) for strand in latest.strands)
    return [line for text in told if text for line in hanging(f"  {STANDS_IN} ", text, width)]


def balance_lines(latest: Assessment, width: int) -> list[Line]:
    """Say, below the rows, what the heaters' power can show of strands that nothing else sees move."""
    return [line for sight in latest.balances for line in hanging("  ", balance_words(sight), width, DIM)]


def mark_of(strand: StrandAssessment, alerts: Sequence[Alert]) -> Span:
    """Symbol of the most urgent alert on this input, of its condition without one, else a blank."""
    own = next((alert for alert in alerts if alert.input == strand.input), None)
    if own is not None:
        return Span(SYMBOL[own.priority], mark_look(own))
    if strand.condition is Condition.UNAVAILABLE:
        return Span("?", DIM)
    priority = PRIORITY_OF.get(strand.condition)
    return Span(" ") if priority is None else Span(SYMBOL[priority], Look(signal=priority, bold=True))


def is_doubtful(strand: StrandAssessment, view: View) -> bool:
    """Whether the values of this strand are not those of now."""
    return view.is_old or strand.quality is not Quality.GOOD


def _title(columns: Sequence[tuple[Column, int]], width: int) -> Line:
    titles = " ".join(fit(column.title, cells) for column, cells in columns)
    return crop((Span(f"  in {titles}", DIM),), width)


def _row(strand: StrandAssessment, view: View, columns: Sequence[tuple[Column, int]], width: int) -> Line:
    doubtful = is_doubtful(strand, view)
    look = DIM if doubtful else PLAIN
    cells = " ".join(
        fit(column.text(strand, cells) + ("?" if doubtful and column.doubt else ""), cells) for column, cells in columns
    )
    return crop((Span(" "), mark_of(strand, view.alerts), Span(f"{strand.input:>2} {cells}", look)), width)


def _most_urgent(strands: Sequence[StrandAssessment], alerts: Sequence[Alert], rows: int) -> list[StrandAssessment]:
    """Strands that fit `rows` lines, one kept back for the count of the others; in their own order."""
    if len(strands) <= rows:
        return list(strands)
    rank = {alert.input: at for at, alert in reversed(list(enumerate(alerts)))}
    by_urgency = sorted(strands, key=lambda s: (rank.get(s.input, len(alerts)), next_mark(s)[1].low))
    kept = {strand.input for strand in by_urgency[: max(0, rows - 1)]}
    return [strand for strand in strands if strand.input in kept]
