"""Blocks as lines of plain text in a given width; colours, where they are wanted, only say again what the words say.

Owns layout: how wide columns are, where text breaks. Knows nothing of plans.
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from rich.cells import cell_len

from monitor.plan_pages.blocks import Block, Heading, Items, Table, Timeline, Tone, Typed, Words
from monitor.plan_pages.picture import KEY, picture_lines
from monitor.tui.ink import ascii_text, wrap

_COLOURS: Final = {Tone.GOOD: "32", Tone.BAD: "31", Tone.MILD: "33", Tone.FAINT: "2"}
_BOLD: Final = "1"
_GAP: Final = "  "
_NARROWEST, _LEAST = 16, 5
"""Cells that the wide column is left, at the cost of others, and that each of those keeps."""


class Report:
    """Lays blocks out.

    Parameters
    ----------
    width : int
        Cells in a line.
    ascii_only, colour : bool
        What the terminal can show, and what its owner wants.
    """

    def __init__(self, width: int, *, ascii_only: bool = False, colour: bool = False) -> None:
        self._width, self._ascii_only, self._colour = width, ascii_only, colour

    def lines(self, blocks: Iterable[Block]) -> Iterator[str]:
        """All lines, each without its end."""
        for block in blocks:
            for text, look in self._drawn(block):
                plain = ascii_text(text) if self._ascii_only else text
                yield f"\x1b[{look}m{plain}\x1b[0m" if self._colour and look and plain else plain

    def _drawn(self, block: Block) -> Iterator[tuple[str, str]]:
        match block:
            case Heading(text=text, level=level):
                yield from _heading(text, level, self._width)
            case Words(text=text, tone=tone):
                yield from ((line, _COLOURS.get(tone, "")) for line in wrap(text, self._width))
            case Items(texts=texts):
                yield from ((line, "") for text in texts for line in _item(text, self._width))
            case Typed(lines=lines):
                yield from ((f"    {line}", _BOLD) for line in lines)
            case Table():
                yield from _table(block, self._width)
            case Timeline(title=title, strip=strip):
                yield from (("", ""), *((line, _BOLD) for line in wrap(title, self._width)))
                yield from ((line, "") for line in (*picture_lines(strip), *wrap(KEY, self._width)))


def _heading(text: str, level: int, width: int) -> Iterator[tuple[str, str]]:
    if level > 1:
        yield "", ""
    yield from ((line, _BOLD) for line in wrap(text, width))
    if level == 1:
        yield "─" * min(width, cell_len(text)), ""


def _item(text: str, width: int) -> Iterator[str]:
    for number, line in enumerate(wrap(text, width - 2)):
        yield f"{'·' if number == 0 else ' '} {line}"


def _table(table: Table, width: int) -> Iterator[tuple[str, str]]:
    widths = _widths(table, width)
    tones = table.tones or (Tone.PLAIN,) * len(table.rows)
    yield from ((line, _BOLD) for line in _row(table.heads, widths, table.right))
    for cells, tone in zip(table.rows, tones, strict=True):
        yield from ((line, _COLOURS.get(tone, "")) for line in _row(cells, widths, table.right))


def _widths(table: Table, width: int) -> list[int]:
    """Every column as wide as it needs; the wide one takes what is left, others break only if that is too little."""
    heads = [max(map(cell_len, head.split()), default=0) for head in table.heads]
    cells = zip(*table.rows, strict=True) if table.rows else [()] * len(heads)
    widths = [max(head, *map(cell_len, column), 0) for head, column in zip(heads, cells, strict=True)]
    gaps = len(_GAP) * (len(widths) - 1)
    left = width - gaps - sum(widths) + widths[table.wide]
    narrowest = min(_NARROWEST, widths[table.wide])
    while left < narrowest:
        others = [place for place in range(len(widths)) if place != table.wide]
        widest = max(others, key=widths.__getitem__)
        if widths[widest] <= _LEAST:
            break
        widths[widest] -= 1
        left += 1
    widths[table.wide] = max(1, min(widths[table.wide], left))
    return widths


def _row(cells: Sequence[str], widths: Sequence[int], right: Sequence[int]) -> Iterator[str]:
    columns = [wrap(cell, width) for cell, width in zip(cells, widths, strict=True)]
    for number in range(max(map(len, columns))):
        parts = [column[number] if number < len(column) else "" for column in columns]
        yield _GAP.join(
            _padded(part, width, is_right=place in right)
            for place, (part, width) in enumerate(zip(parts, widths, strict=True))
        ).rstrip()


def _padded(text: str, width: int, *, is_right: bool) -> str:
    spaces = " " * max(0, width - cell_len(text))
    return spaces + text if is_right else text + spaces
