"""Text as the screen draws it: spans with a look, joined to lines of a known width in cells.

Owns fitting, wrapping and the plain-ASCII stand-ins. Knows nothing of strands, alerts or the terminal; colours are
named by the priority they stand for and become real only in `terminal.line_widget`.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, NamedTuple

from rich.cells import cell_len, chop_cells, set_cell_size

from monitor.core.alert_types import Priority


@dataclass(frozen=True, slots=True)
class Look:
    """How a span looks. `signal` asks for the one colour of a priority; everything else works without colour."""

    signal: Priority | None = None
    dim: bool = False
    bold: bool = False
    reverse: bool = False


PLAIN: Final = Look()
DIM: Final = Look(dim=True)
BOLD: Final = Look(bold=True)
REVERSE: Final = Look(bold=True, reverse=True)


class Span(NamedTuple):
    """A run of text with one look."""

    text: str
    look: Look = PLAIN


Line = tuple[Span, ...]
EMPTY: Final[Line] = ()

_ASCII: Final = str.maketrans(
    {
        "▲": "!", "◆": "*", "●": "o", "▸": ">", "→": ">", "↓": "v", "↑": "^", "■": "#",
        "█": "#", "▌": "[", "·": ".", "░": "+", "▒": "x", "▓": "%", "━": "=", "─": "_", "┄": "-", "│": "|",
        "╰": "+", "╯": "+", "┴": "+", "┬": "+", "╮": "+", "╭": "+", "…": "~", "–": "-", "°": " ", "²": "2",
        "‖": '"', "’": "'", "┃": "|", "×": "x", "←": "<", "▀": "'", "▄": "_",
    }
)  # fmt: skip


def ascii_text(text: str) -> str:
    """The same text in ASCII only, the same width in cells.

    >>> ascii_text("▲ 195 °C · crème 中")
    '! 195  C . cr?me ??'
    """
    swapped = text.translate(_ASCII)
    if swapped.isascii():
        return swapped
    return "".join(char if char.isascii() else "?" * cell_len(char) for char in swapped)


def ascii_line(line: Line) -> Line:
    """A line in ASCII only."""
    return tuple(Span(ascii_text(span.text), span.look) for span in line)


def width_of(line: Iterable[Span]) -> int:
    """Width of a line in cells."""
    return sum(cell_len(span.text) for span in line)


def fit(text: str, width: int) -> str:
    """Text cut or padded to exactly `width` cells; what was cut shows as an ellipsis.

    >>> fit("amber structural", 8), fit("coal", 6), fit("coal", 0)
    ('amber s…', 'coal  ', '')
    """
    if width <= 0:
        return ""
    if cell_len(text) <= width:
        return text + " " * (width - cell_len(text))
    return set_cell_size(text, width - 1) + "…"


def crop(line: Line, width: int) -> Line:
    """A line no wider than `width` cells."""
    kept: list[Span] = []
    left = width
    for span in line:
        cells = cell_len(span.text)
        if cells > left:
            kept.append(Span(fit(span.text, left), span.look))
            break
        kept.append(span)
        left -= cells
    return tuple(kept)


def apart(left: Line, right: Line, width: int) -> Line:
    """Two pieces at the two ends of a line; the right one stays whole when there is no room for both."""
    room = max(0, width - width_of(right) - 1)
    shown = crop(left, room)
    gap = width - width_of(shown) - width_of(right)
    return (*shown, Span(" " * max(0, gap)), *crop(right, width))


def beside(parts: Iterable[Line], apart_cells: int) -> Line:
    """Lines side by side, each beginning so many cells after the one before it."""
    spans: list[Span] = []
    for at, part in enumerate(parts):
        spans += (Span(" " * (at * apart_cells - width_of(spans))), *part)
    return tuple(span for span in spans if span.text)


def wrap(text: str, width: int) -> list[str]:
    """Text broken between words, long words broken anywhere: nothing is ever lost.

    >>> wrap("advance 14 mm now", 8)
    ['advance', '14 mm', 'now']
    """
    rows: list[str] = []
    row = ""
    for word in text.split():
        joined = f"{row} {word}" if row else word
        if cell_len(joined) <= width:
            row = joined
            continue
        if row:
            rows.append(row)
        *full, row = chop_cells(word, max(1, width)) or [""]
        rows.extend(full)
    return [*rows, row] if row or not rows else rows


def hanging(head: str, text: str, width: int, look: Look = PLAIN) -> list[Line]:
    """Wrapped text behind a head; further rows are indented as far as the head reaches."""
    indent = cell_len(head)
    rows = wrap(text, max(1, width - indent))
    return [(Span(head if at == 0 else " " * indent, look), Span(row, look)) for at, row in enumerate(rows)]
