"""The strands over the hours of a build as a drawing in SVG, without a script: bars, hours, the manifold's curve.

Colours are classes that the page gives their looks; the key beside the drawing and the title of every bar say the same
in words.
"""

from collections.abc import Iterator
from html import escape
from itertools import groupby
from typing import Final

from monitor.plan_pages.strip import Cell, Row, Strip
from monitor.planning.clock_words import planned_words

MEANINGS: Final = {
    Cell.FEEDS: "feeds",
    Cell.FEEDS_PARTLY: "feeds at times",
    Cell.STANDS: "stands",
    Cell.PAST_HALF: "past half its warn dose",
    Cell.PAST_WARN: "past its warn dose",
    Cell.PAST_LIMIT: "past its limit",
}
_LEFT, _WIDTH, _ROW, _BAR, _CURVE = 170.0, 800.0, 24.0, 16.0, 60.0
_HOUR_S: Final = 3600.0
_TICKS_H: Final = (0.25, 0.5, 1, 2, 3, 6, 12, 24, 48, 96)
_MOST_TICKS: Final = 14
_LETTER: Final = 6.3
"""Room for a letter of the key: somewhat wide, because the browser chooses the type."""


def svg_text(strip: Strip, title: str) -> str:
    """The drawing."""
    rows_end = _ROW * len(strip.rows)
    height = rows_end + _CURVE + 2 * _ROW + 12
    parts = [
        *_hours(strip, rows_end + _CURVE + 8),
        *(part for place, row in enumerate(strip.rows) for part in _bars(strip, row, place * _ROW)),
        *_curve(strip, rows_end + 6),
        *_key(rows_end + _CURVE + _ROW + 20),
    ]
    return (
        f'<svg viewBox="0 0 {_LEFT + _WIDTH + 10:.0f} {height:.0f}" role="img"><title>{escape(title)}</title>'
        f"{''.join(parts)}</svg>"
    )


def _bars(strip: Strip, row: Row, top: float) -> Iterator[str]:
    yield f'<text x="0" y="{top + 13:.0f}">{row.input} {escape(_short(row.name))}</text>'
    column_s, column, place = strip.length_s / len(row.cells), _WIDTH / len(row.cells), 0
    for cell, run in groupby(row.cells):
        count = len(list(run))
        if cell is not Cell.GONE:
            begin, end = planned_words(place * column_s), planned_words((place + count) * column_s)
            yield (
                f'<rect class="{cell.name}" x="{_LEFT + place * column:.1f}" y="{top + 2:.0f}"'
                f' width="{count * column:.1f}" height="{_BAR:.0f}">'
                f"<title>{begin} to {end}: {MEANINGS[cell]}</title></rect>"
            )
        place += count


def _hours(strip: Strip, bottom: float) -> Iterator[str]:
    hours = strip.length_s / _HOUR_S
    tick_h = next((step for step in _TICKS_H if hours / step <= _MOST_TICKS), _TICKS_H[-1])
    number = 0
    while number * tick_h <= hours:
        x = _LEFT + number * tick_h / hours * _WIDTH
        yield f'<line class="hours" x1="{x:.1f}" x2="{x:.1f}" y1="0" y2="{bottom:.0f}"/>'
        yield f'<text x="{x:.1f}" y="{bottom + 12:.0f}" text-anchor="middle">{number * tick_h:g}</text>'
        number += 1
    yield f'<text x="0" y="{bottom + 12:.0f}">hours</text>'


def _curve(strip: Strip, top: float) -> Iterator[str]:
    """The wall at the merge point."""
    low_c, high_c = round(min(strip.manifold_c)), round(max(strip.manifold_c))
    middle_c, span_k, step = (low_c + high_c) / 2, max(high_c - low_c, 10.0), _WIDTH / len(strip.manifold_c)
    middle, height = top + (_CURVE - 12) / 2, _CURVE - 12
    points = " ".join(
        f"{_LEFT + (place + 0.5) * step:.1f},{middle - height * (temp_c - middle_c) / span_k:.1f}"
        for place, temp_c in enumerate(strip.manifold_c)
    )
    range_c = f"{low_c}" if low_c == high_c else f"{low_c} to {high_c}"
    yield f'<polyline class="wall" points="{points}"/>'
    yield f'<text x="0" y="{middle + 4:.0f}">manifold {range_c} °C</text>'


def _key(top: float) -> Iterator[str]:
    x = _LEFT
    for cell, meaning in MEANINGS.items():
        yield f'<rect class="{cell.name}" x="{x:.0f}" y="{top - 10:.0f}" width="12" height="12"/>'
        yield f'<text x="{x + 16:.0f}" y="{top:.0f}">{meaning}</text>'
        x += 40 + _LETTER * len(meaning)


def _short(name: str) -> str:
    most = 22
    return name if len(name) <= most else f"{name[: most - 1]}…"
