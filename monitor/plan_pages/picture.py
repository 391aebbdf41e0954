"""The strands over the hours of a build, in characters: one row a strand, one for the manifold, the hours below.

Every state has a character of its own, so no colour is needed; `KEY` says what they mean.
"""

from collections.abc import Iterator
from typing import Final

from monitor.plan_pages.strip import Cell, Strip
from monitor.tui.ink import fit

_GLYPHS: Final = {
    Cell.GONE: " ",
    Cell.STANDS: "·",
    Cell.FEEDS_PARTLY: "▌",
    Cell.FEEDS: "█",
    Cell.PAST_HALF: "▒",
    Cell.PAST_WARN: "▓",
    Cell.PAST_LIMIT: "▲",
}
KEY: Final = "█ feeds, ▌ at times, · stands, ▒ past half warn dose, ▓ past warn, ▲ past limit"
_NAME_CELLS: Final = 14
_HEAD_CELLS: Final = 3 + _NAME_CELLS + 1
_HOUR_S: Final = 3600.0
_TICKS_H: Final = (0.25, 0.5, 1, 2, 3, 6, 12, 24, 48, 96)
_LABEL_CELLS: Final = 7
_STEP_K: Final = 2.0
"""A change of the manifold smaller than this gets no number of its own."""


def picture_columns(width: int) -> int:
    """How many columns a strip may have in so many cells."""
    return max(20, width - _HEAD_CELLS)


def picture_lines(strip: Strip) -> Iterator[str]:
    """Draw it; as wide as its columns ask for."""
    for row in strip.rows:
        cells = "".join(_GLYPHS[cell] for cell in row.cells)
        yield f"{row.input:>2} {fit(row.name, _NAME_CELLS)} {cells}".rstrip()
    yield f"   {fit('manifold °C', _NAME_CELLS)} {_temperatures(strip.manifold_c)}"
    yield f"   {fit('hours', _NAME_CELLS)} {_hours(strip)}".rstrip()


def _temperatures(manifold_c: tuple[float, ...]) -> str:
    """The number wherever it has changed, with a line to where it holds."""
    text, told_c = "", -1e9
    for column, temp_c in enumerate(manifold_c):
        if column < len(text):
            continue
        number = f"{temp_c:.0f}"
        room = column + len(number) <= len(manifold_c) and not text[-1:].isdigit()
        if room and abs(temp_c - told_c) >= _STEP_K:
            text, told_c = text + number, temp_c
        else:
            text += "─"
    return text


def _hours(strip: Strip) -> str:
    """Hours under the columns in which they begin."""
    columns, hours = len(strip.manifold_c), strip.length_s / _HOUR_S
    tick_h = next((step for step in _TICKS_H if hours / step <= columns / _LABEL_CELLS), _TICKS_H[-1])
    text, number = "", 0
    while number * tick_h < hours:
        column = int(number * tick_h / hours * columns)
        label = f"{number * tick_h:g}"
        if column + len(label) > columns:
            break
        text = text.ljust(column) + label
        number += 1
    return text
