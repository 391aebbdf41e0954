"""The dose of one strand over the last hours, and what it comes to if nothing changes: a band between its two ends."""

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from monitor.core.alert_types import Priority
from monitor.core.assessment import Activity, StrandAssessment
from monitor.tui.graph import Curve, Level, graph, layout_for
from monitor.tui.ink import DIM, Line, Span, crop, fit
from monitor.tui.view import View
from monitor.tui.words import duration

LEAST_TREND_ROWS: Final = 6
"""With fewer rows the curve says too little [rows]."""

LONGEST_PAST_S: Final = 12 * 3600.0
LONGEST_AHEAD_S: Final = 8 * 3600.0
_LEAST_PAST_S: Final = 600.0
_PAST_SHARE: Final = 0.6
_OTHER_ROWS: Final = 2
_LEAST_COLUMNS: Final = 8


def strand_trend(strand: StrandAssessment, view: View, width: int, rows: int) -> list[Line]:
    """Title, curve and hours in exactly `rows` lines; a sentence before anything is known."""
    history = view.history
    if history is None or view.latest is None:
        return []
    levels = [
        Level("warn", strand.dose_warn_min, Priority.WARNING),
        Level("limit", strand.dose_limit_min, Priority.ALARM),
    ]
    layout = layout_for(width, levels)
    if layout.cells < _LEAST_COLUMNS:
        return []
    ahead_s = _ahead_s(strand)
    past = round(layout.cells * _PAST_SHARE) if ahead_s else layout.cells
    begin_s, now_s = view.known_s
    past_s = min(LONGEST_PAST_S, max(_LEAST_PAST_S, now_s - begin_s))
    trend = history.trend(f"dose {strand.input}", now_s - past_s, now_s, past)
    ahead_low, ahead_high = _band(strand, ahead_s, layout.cells - past - 1)
    curve = Curve(
        trend.low, trend.high, trend.known, "min", _before(begin_s, now_s - past_s, past_s, past), ahead_low, ahead_high
    )
    head = f"  dose of input {strand.input} over the hours, min" + ("; ▒ if nothing changes" if ahead_s else "")
    lines = [
        (Span(head, DIM),),
        *graph(curve, levels, layout, rows - _OTHER_ROWS, dim=view.is_old),
        (Span(" " * layout.left), *_hours(past_s, ahead_s, past, layout.cells)),
    ]
    return [crop(line, width) for line in lines]


def _ahead_s(strand: StrandAssessment) -> float:
    """How far to look ahead [s]: a little past the limit; 0 where nothing runs out or it has."""
    low_s = strand.limit_left_s.low
    if strand.activity is not Activity.IDLE or not 0 < low_s < math.inf:
        return 0.0
    return min(LONGEST_AHEAD_S, 1.25 * low_s)


def _band(strand: StrandAssessment, ahead_s: float, columns: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Dose in so many columns from now on, by the hopeful and by the cautious end: a standing strand ages evenly."""
    if not ahead_s or columns <= 0:
        return np.empty(0), np.empty(0)
    in_s = (np.arange(columns) + 0.5) / columns * ahead_s
    missing_min = strand.dose_limit_min - strand.dose_now_min
    low, high = (strand.dose_now_min + missing_min * in_s / left_s for left_s in reversed(strand.limit_left_s))
    return low, high


def _before(begin_s: float, from_s: float, past_s: float, columns: int) -> int:
    """How many columns lie before the watch began."""
    return max(0, math.ceil((begin_s - from_s) / past_s * columns))


def _hours(past_s: float, ahead_s: float, past: int, cells: int) -> Line:
    left = f"-{duration(past_s)}"
    right = f"+{duration(ahead_s)}" if ahead_s else ""
    text = fit(left, max(len(left), past - 1)) + "now"
    return (Span(fit(text, max(len(text), cells - len(right))) + right, DIM),)
