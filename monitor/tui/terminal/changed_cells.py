"""Which cells of a line differ from those before: over a slow link every byte to the terminal counts. Pure."""

from collections.abc import Iterator, Sequence
from itertools import chain

from rich.cells import cell_len

from monitor.tui.ink import PLAIN, Line, Look

_Cell = tuple[str, Look]


def changed_cells(before: Line, after: Line, width: int) -> tuple[int, int]:
    """First cell that differs, and the one behind the last; lines are blank up to `width`.

    >>> from monitor.tui.ink import Span
    >>> changed_cells((Span("idle 9 s  GOOD"),), (Span("idle 10 s GOOD"),), 40)
    (5, 9)
    """
    old, new = (_cells(line, width) for line in (before, after))
    first = _same(old, new)
    last = width - min(_same(old[::-1], new[::-1]), width - first)
    return first, max(last, min(width, first + 1))


def _same(one: Sequence[_Cell], other: Sequence[_Cell]) -> int:
    """How many cells are the same from the first on."""
    return next((at for at, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))


def _cells(line: Line, width: int) -> list[_Cell]:
    """One entry a cell: a wide character takes two, a mark without a cell of its own stays with the one before it."""
    cells = list(chain.from_iterable(_of_span(span.text, span.look) for span in line))[:width]
    return cells + [(" ", PLAIN)] * (width - len(cells))


def _of_span(text: str, look: Look) -> Iterator[_Cell]:
    if text.isascii():
        yield from ((char, look) for char in text)
        return
    for at, char in enumerate(text):
        cells = cell_len(char)
        if cells:
            whole = char + _marks_after(text, at)
            yield whole, look
            yield from ((f"{whole} goes on", look) for _ in range(cells - 1))


def _marks_after(text: str, at: int) -> str:
    """Characters without a cell that follow the one at `at`."""
    end = at + 1
    while end < len(text) and cell_len(text[end]) == 0:
        end += 1
    return text[at + 1 : end]
