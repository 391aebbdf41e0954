"""The dose of one strand over the last hours, and what it comes to if nothing changes: a band between its two ends."""

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from monitor.core.assessment import Activity, Assessment, StrandAssessment
from monitor.history.channels import channels_of, readings_of
from monitor.tui.graphs.axis import time_axis
from monitor.tui.graphs.graph import Curve, graph, layout_for
from monitor.tui.ink import DIM, Line, Span, crop
from monitor.tui.trends.graph import Past, TimeShown, levels_of
from monitor.tui.trends.page import now_word
from monitor.tui.view import View

LEAST_TREND_ROWS: Final = 8
"""With fewer rows the curve says too little [rows]."""

LONGEST_PAST_S: Final = 12 * 3600.0
LONGEST_AHEAD_S: Final = 8 * 3600.0
_LEAST_PAST_S: Final = 600.0
_LEAST_PAST_SHARE: Final = 0.25
"""Past shown of the time ahead, at least; both are drawn on one scale."""

_OTHER_ROWS: Final = 2
_LEAST_COLUMNS: Final = 8


def strand_trend(strand: StrandAssessment, latest: Assessment, view: View, width: int, rows: int) -> list[Line]:
    """Title, curve and hours in exactly `rows` lines; nothing before anything is remembered."""
    dose = next(channel for channel in channels_of(latest) if channel.key == f"dose {strand.input}")
    levels = levels_of(dose)
    layout = layout_for(width, levels)
    if view.history is None or layout.cells < _LEAST_COLUMNS:
        return []
    ahead_s = _ahead_s(strand)
    begin_s, now_s = view.known_s
    past_s = max(min(LONGEST_PAST_S, max(_LEAST_PAST_S, now_s - begin_s)), _LEAST_PAST_SHARE * ahead_s)
    time = TimeShown(now_s - past_s, now_s, begin_s, now_s)
    columns = round(layout.cells * past_s / (past_s + ahead_s))
    trend = Past(view.history, readings_of(latest), time, view.is_old).trend(dose, columns)
    ahead_low, ahead_high = _band(strand, ahead_s, layout.cells - columns - 1)
    curve = Curve(trend.low, trend.high, trend.known, dose.unit, time.before(columns), ahead_low, ahead_high)
    head = f"  dose of input {strand.input} over the hours, min" + ("; ▒ if nothing changes" if ahead_s else "")
    lines = [
        (Span(head, DIM),),
        *graph(curve, levels, layout, rows - _OTHER_ROWS, dim=view.is_old),
        (
            Span(" " * layout.left),
            *time_axis(time.begin_s, now_s + ahead_s, layout.cells, now_s=now_s, now=now_word(view)),
        ),
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
