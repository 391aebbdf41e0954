"""The lines of a screen as messages to a page: whole at first, then only the rows that changed. Pure.

A row is a flat list of texts and looks in turn: `["ALARM", 9, " input 4", 0]`. A look is a sum of the numbers below.
The page puts texts into the document as text, so nothing in them can be anything else.
"""

from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import groupby
from typing import Any, Final

import msgspec
from rich.cells import cell_len

from monitor.core.alert_types import Priority
from monitor.tui.ink import Line, Look

BOLD: Final = 1
DIM: Final = 2
REVERSE: Final = 4
SIGNAL: Final = {Priority.ALARM: 8, Priority.WARNING: 16, Priority.CAUTION: 32}
WIDE: Final = 64
"""Each letter takes two cells."""

Row = list[str | int]


class Painter:
    """Knows what one page shows already."""

    def __init__(self) -> None:
        self._lines: Sequence[Line] = ()
        self._width = 0
        self._told: dict[str, Any] = {}

    def message(self, lines: Sequence[Line], width: int, **told: Any) -> bytes:  # noqa: ANN401 -- any plain JSON
        """What the page lacks of these lines, and of what else is told; empty when it lacks nothing."""
        is_new = width != self._width or len(lines) != len(self._lines)
        known: Sequence[Line | None] = [None] * len(lines) if is_new else self._lines
        parts: dict[str, Any] = {"size": [width, len(lines)]} if is_new else {}
        if rows := [[y, *row(line)] for y, line in enumerate(lines) if line != known[y]]:
            parts["rows"] = rows
        parts |= {name: value for name, value in told.items() if name not in self._told or self._told[name] != value}
        self._lines, self._width, self._told = lines, width, {**self._told, **told}
        return msgspec.json.encode(parts) if parts else b""


def row(line: Line) -> Row:
    """One line."""
    return [part for span in line for part in _pieces(span.text, span.look)]


def _pieces(text: str, look: Look) -> Iterator[str | int]:
    code = look_code(look)
    if text.isascii():
        yield from (text, code) if text else ()
        return
    for is_wide, letters in groupby(text, _is_wide):
        yield from ("".join(letters), code + WIDE * is_wide)


def look_code(look: Look) -> int:
    """A look as a number."""
    signal = 0 if look.signal is None else SIGNAL[look.signal]
    return BOLD * look.bold + DIM * look.dim + REVERSE * look.reverse + signal


@lru_cache(maxsize=4096)
def _is_wide(letter: str) -> bool:
    return cell_len(letter) > 1
