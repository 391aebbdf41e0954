"""What is to come of one strand along a line of hours: within its doses, past the warn dose, past the limit, fed next.

Pure characters; knows nothing of looks beyond bold and reversed.
"""

import math
from collections.abc import Sequence
from typing import Final

from monitor.core.assessment import Activity, StrandAssessment
from monitor.tui.ink import BOLD, DIM, PLAIN, REVERSE, Line, Look, Span
from monitor.tui.words import duration

HORIZONS_S: Final = tuple(3600.0 * hours for hours in (1, 2, 4, 6, 8, 12, 16, 24))
"""Lengths of time to choose from [s]."""

_WELL, _WARNED, _LIMIT, _OVER, _USE, _CALM = "━", "▒", "L", "▓", "↓", "─"
_TICK_CELLS: Final = 11


def horizon_s(strands: Sequence[StrandAssessment]) -> float:
    """The shortest time to choose from that holds all that is to come of all strands [s]."""
    times = (time_s for strand in strands for time_s in _times_s(strand) if math.isfinite(time_s))
    last_s = max(times, default=0.0)
    return next((span_s for span_s in HORIZONS_S if span_s > last_s), HORIZONS_S[-1])


def ahead_bar(strand: StrandAssessment, horizon: float, cells: int, look: Look) -> Line:
    """So many cells from now to the horizon [s]."""
    per_cell_s = horizon / max(1, cells)
    chars = [_state(strand, (cell + 0.5) * per_cell_s) for cell in range(cells)]
    limit = _cell(strand.limit_left_s.low, per_cell_s, cells)
    if limit is not None and strand.activity is Activity.IDLE:
        chars[limit] = _LIMIT
    use = _cell(math.inf if strand.next_use_s is None else strand.next_use_s, per_cell_s, cells)
    if use is None:
        return (Span("".join(chars), look),)
    is_late = strand.next_use_s is not None and strand.next_use_s > strand.limit_left_s.low
    before, after = "".join(chars[:use]), "".join(chars[use + 1 :])
    return Span(before, look), Span(_USE, REVERSE if is_late else BOLD), Span(after, DIM)


def hours_line(horizon: float, cells: int) -> Line:
    """The hours below the bars, from now on."""
    ticks = max(1, min(4, cells // _TICK_CELLS))
    row = [" "] * cells
    for tick in range(ticks):
        text = "now" if tick == 0 else f"+{duration(horizon * tick / ticks)}"
        at = round(cells * tick / ticks)
        row[at : at + len(text)] = text
    return (Span("".join(row)[:cells], DIM),)


def look_of(strand: StrandAssessment, *, doubtful: bool) -> Look:
    """Dim where the strand is none to worry about, or its values are not of now."""
    return DIM if doubtful or strand.activity is not Activity.IDLE else PLAIN


def _state(strand: StrandAssessment, in_s: float) -> str:
    if strand.activity is not Activity.IDLE:
        return _CALM
    if in_s >= strand.limit_left_s.low:
        return _OVER
    return _WARNED if in_s >= strand.warn_left_s.low else _WELL


def _cell(in_s: float, per_cell_s: float, cells: int) -> int | None:
    at = in_s / per_cell_s
    return int(at) if 0 <= at < cells else None


def _times_s(strand: StrandAssessment) -> tuple[float, ...]:
    use_s = math.inf if strand.next_use_s is None else strand.next_use_s
    return strand.warn_left_s.low, strand.limit_left_s.low, use_s
