"""Blocks as Markdown (CommonMark, with the tables that most readers know). Every text is escaped.

Plots are told in words: their captions say what they show.
"""

import re
from collections.abc import Iterable, Iterator
from typing import Final

from monitor.report.blocks import Block, Heading, Items, Plot, Table, Words

_SPECIAL: Final = re.compile(r"([\\`*_{}\[\]<>#|~!&$@^])")
_BULLET: Final = re.compile(r"^([-+=])")
_NUMBER: Final = re.compile(r"^(\d+)([.)])")


def markdown_text(blocks: Iterable[Block]) -> str:
    """The whole text."""
    return "\n\n".join(_part(block) for block in blocks) + "\n"


def plain(text: str) -> str:
    r"""Text that Markdown shows as it is.

    >>> plain("<b>1*2</b> | - x")
    '\\<b\\>1\\*2\\</b\\> \\| - x'
    """
    escaped = _SPECIAL.sub(r"\\\1", text.strip())
    return _NUMBER.sub(r"\1\\\2", _BULLET.sub(r"\\\1", escaped))


def _part(block: Block) -> str:
    match block:
        case Heading(text, level):
            return f"{'#' * level} {plain(text)}"
        case Words(text, is_lead):
            return f"**{plain(text)}**" if is_lead else plain(text)
        case Items(texts):
            return "\n".join(f"- {plain(text)}" for text in texts)
        case Plot(title, says):
            return f"### {plain(title)}\n\n{plain(says)}"
        case Table():
            return "\n".join(_table(block))


def _table(table: Table) -> Iterator[str]:
    yield _row(table.heads)
    yield "|" + "|".join(" ---: " if place in table.right else " --- " for place in range(len(table.heads))) + "|"
    yield from map(_row, table.rows)


def _row(cells: Iterable[str]) -> str:
    return "| " + " | ".join(plain(cell) for cell in cells) + " |"
