"""Heat and dose of one strand along its path, merge point at the left: columns of equal length."""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from monitor.core.assessment import Assessment, StrandAssessment, ZonePlace
from monitor.tui.graphs.graph import Curve, Layout, Level, graph, layout_for
from monitor.tui.ink import DIM, PLAIN, Line, Look, Span, crop, fit
from monitor.tui.path.words import MARK_LOOK
from monitor.tui.strand_rows import is_doubtful
from monitor.tui.view import View

LEAST_PROFILE_ROWS: Final = 6
"""With fewer rows the curve says too little [rows]."""

AGED: Final = "·:░▒wL"
"""Dose of a piece: below an eighth, a quarter, half of its warn dose; above; past the warn dose; past the limit."""

_SHARES: Final = (0.125, 0.25, 0.5, 1.0)
_OTHER_ROWS: Final = 3
_MARK: Final = "↑"


def strand_profile(strand: StrandAssessment, latest: Assessment, view: View, width: int, rows: int) -> list[Line]:
    """Zones, temperature against the glass transition, millimetres, dose: exactly `rows` lines."""
    glass = Level("glass", strand.glass_c)
    layout = layout_for(width, [glass])
    edges_mm = np.linspace(0.0, max(zone.cold_end_mm for zone in latest.zones), layout.cells + 1)
    is_old = is_doubtful(strand, view)
    heat = np.interp(edges_mm, strand.x_mm, strand.temp_c)
    low, high = np.minimum(heat[:-1], heat[1:]), np.maximum(heat[:-1], heat[1:])
    curve = Curve(low, high, np.ones(layout.cells, dtype=bool), "°C")
    lines = [
        _zones(latest.zones, edges_mm, layout),
        *graph(curve, [glass], layout, rows - _OTHER_ROWS, dim=is_old),
        _millimetres(strand, edges_mm, layout),
        _aged(strand, edges_mm, layout, DIM if is_old else PLAIN),
    ]
    return [crop(line, width) for line in lines]


def _zones(zones: Sequence[ZonePlace], edges_mm: NDArray[np.float64], layout: Layout) -> Line:
    """Names of the zones, each from where it begins."""
    row = [" "] * layout.cells
    for zone in zones:
        if zone.cold_end_mm <= 0:
            continue  # beyond the merge point
        first, last = np.searchsorted(edges_mm, [max(0.0, zone.hot_end_mm), zone.cold_end_mm])
        row[first:last] = fit(f"│{zone.name}", int(last - first))
    return (Span(fit("heat", layout.left), DIM), Span("".join(row), DIM))


def _millimetres(strand: StrandAssessment, edges_mm: NDArray[np.float64], layout: Layout) -> Line:
    """Where the strand is soft to, and from where on it must be stiff: the nearer mark's words lie left of it."""
    marks = [(strand.stiff_from_mm, f"stiff from {strand.stiff_from_mm:.0f} mm")]
    if strand.soft_front_mm > 0:
        marks.append((strand.soft_front_mm, f"soft to {strand.soft_front_mm:.0f} mm"))
    row = [" "] * layout.cells
    for number, (x_mm, text) in enumerate(sorted(marks)):
        at = min(layout.cells - 1, max(0, int(np.searchsorted(edges_mm, x_mm, side="right")) - 1))
        row[at] = _MARK
        is_left = number == 0 and len(marks) > 1
        begin = at - len(text) - 1 if is_left else at + 2
        if begin >= 0 and all(char == " " for char in row[begin : begin + len(text)]):
            row[begin : begin + len(text)] = text
    ends = (("0", 0), (f"{edges_mm[-1]:.0f}", layout.cells - len(f"{edges_mm[-1]:.0f}")))
    for text, at in ends:
        if at >= 0 and all(char == " " for char in row[at : at + len(text)]):
            row[at : at + len(text)] = text
    return (Span(fit("mm", layout.left), DIM), Span("".join(row)[: layout.cells], DIM))


def _aged(strand: StrandAssessment, edges_mm: NDArray[np.float64], layout: Layout, look: Look) -> Line:
    """The highest dose in each column, by a character."""
    starts = np.minimum(np.searchsorted(strand.x_mm, edges_mm[:-1]), len(strand.x_mm) - 1)
    worst_min = np.maximum.reduceat(strand.dose_min, starts)
    share = worst_min / strand.dose_warn_min
    grades = np.searchsorted(_SHARES, share, side="right") + (worst_min >= strand.dose_limit_min)
    chars = "".join(AGED[min(grade, len(AGED) - 1)] for grade in grades)
    return (Span(fit("dose", layout.left), DIM), *_joined(chars, look))


def _joined(chars: str, look: Look) -> Line:
    """Runs of one look: what has aged too far stands out."""
    spans: list[Span] = []
    for char in chars:
        own = MARK_LOOK.get(char, look)
        if spans and spans[-1].look == own:
            spans[-1] = Span(spans[-1].text + char, own)
        else:
            spans.append(Span(char, own))
    return tuple(spans)
