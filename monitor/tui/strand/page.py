"""The page of one strand: its alerts and what to do, its numbers, its heat and dose along the path, its last hours."""

from collections.abc import Iterator
from dataclasses import replace
from itertools import zip_longest
from typing import Final

from monitor.core.assessment import Assessment, StrandAssessment
from monitor.tui.alert_band import alert_band, most_urgent_line
from monitor.tui.ink import BOLD, DIM, EMPTY, PLAIN, Line, Span, apart, beside, hanging
from monitor.tui.strand.numbers import number_lines
from monitor.tui.strand.profile import LEAST_PROFILE_ROWS, strand_profile
from monitor.tui.strand.trend import LEAST_TREND_ROWS, strand_trend
from monitor.tui.strand_rows import is_doubtful, mark_of
from monitor.tui.view import View
from monitor.tui.words import full_name_of, stand_in_words

_SIDE_BY_SIDE_FROM_CELLS: Final = 140
_GOOD_PROFILE_ROWS: Final = 12
_AIR_FROM_ROWS: Final = 28
_BAND_ROWS: Final = 8


def strand_page(view: View, latest: Assessment, width: int, rows: int) -> list[Line]:
    """All that is known of the strand that is looked at, in at most `rows` lines where that can be."""
    strand = view.strand
    if strand is None:
        return [(Span("  no strand is loaded", BOLD),)]
    text = [
        _title(strand, view, width),
        *_alerts(view, latest, width),
        *number_lines(strand, width, doubtful=is_doubtful(strand, view)),
        *hanging("  ", stand_in_words(strand), width, DIM)[: bool(strand.stand_in)],
        *(_advice(strand, latest, width) if rows >= _AIR_FROM_ROWS else ()),
    ]
    air = [EMPTY] if rows >= _AIR_FROM_ROWS else []
    return [*text, *air, *_pictures(strand, view, latest, width, rows - len(text) - len(air))]


def _title(strand: StrandAssessment, view: View, width: int) -> Line:
    name = Span(f" {strand.input} {full_name_of(strand)}", BOLD)
    return apart(
        (Span(" "), mark_of(strand, view.alerts), name, Span(f"  {strand.condition.value}", PLAIN)),
        (Span("Tab: the next input", DIM),),
        width,
    )


def _alerts(view: View, latest: Assessment, width: int) -> list[Line]:
    """The alerts of this strand in full; one line of the most urgent where that is another's."""
    own = view.listed
    others = [] if own[:1] == latest.alerts[:1] else most_urgent_line(view, width)
    if not own:
        return others
    alone = replace(latest, alerts=own)
    return [*others, *alert_band(replace(view, latest=alone), alone, width, _BAND_ROWS)]


def _advice(strand: StrandAssessment, latest: Assessment, width: int) -> Iterator[Line]:
    for piece in latest.advice:
        if piece.is_advised and piece.input == strand.input:
            yield from hanging("  may    ", f"{piece.text} ({piece.reason})", width, PLAIN)


def _pictures(strand: StrandAssessment, view: View, latest: Assessment, width: int, rows: int) -> list[Line]:
    """Heat along the path, and the last hours: side by side where it is wide enough, else below each other."""
    if width >= _SIDE_BY_SIDE_FROM_CELLS and rows >= LEAST_PROFILE_ROWS:
        half = width // 2
        left = strand_profile(strand, latest, view, half - 2, rows)
        right = strand_trend(strand, latest, view, width - half, rows)
        return [beside(parts, half) for parts in zip_longest(left, right, fillvalue=EMPTY)]
    beside_trend = rows - LEAST_TREND_ROWS
    profile = min(_GOOD_PROFILE_ROWS, rows if beside_trend < LEAST_PROFILE_ROWS else beside_trend)
    lines = strand_profile(strand, latest, view, width, profile) if profile >= LEAST_PROFILE_ROWS else []
    left_rows = rows - len(lines)
    return [*lines, *(strand_trend(strand, latest, view, width, left_rows) if left_rows >= LEAST_TREND_ROWS else [])]
