"""Parts that every page for a browser is made of: nothing is fetched, nothing runs, every text is escaped.

Owns the page's frame and the markup of headings, lists and tables. Knows nothing of what a page tells or how it looks.
"""

from collections.abc import Iterable, Sequence
from html import escape
from typing import Final, Protocol

POLICY: Final = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"


class Rows(Protocol):
    """What a table is made of; `right` are the columns set flush right."""

    @property
    def heads(self) -> tuple[str, ...]:
        """Titles of the columns."""
        ...

    @property
    def rows(self) -> tuple[tuple[str, ...], ...]:
        """Cells, row by row."""
        ...

    @property
    def right(self) -> tuple[int, ...]:
        """Columns set flush right."""
        ...


def page(first_line: str, title: str, style: str, body: Iterable[str]) -> str:
    """The whole page; `style` and `body` are markup of our own."""
    head = (
        '<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{escape(POLICY)}">'
        '<meta name="viewport" content="width=device-width">'
        f"<title>{escape(title)}</title><style>{style}</style></head><body><main>\n"
    )
    return "".join([first_line, head, *body, "</main></body></html>\n"])


def heading(text: str, level: int) -> str:
    """A heading."""
    return f"<h{level}>{escape(text)}</h{level}>\n"


def paragraph(text: str, looks: str = "") -> str:
    """A paragraph; `looks` is the name of its style."""
    return f"<p{_class(looks)}>{escape(text)}</p>\n"


def items(texts: Iterable[str]) -> str:
    """A list."""
    return f"<ul>{''.join(f'<li>{escape(text)}</li>' for text in texts)}</ul>\n"


def table(of: Rows, looks: Sequence[str] = (), wide: int | None = None) -> str:
    """A table; `looks` names the style of each row, `wide` is the column that takes what room is left."""
    sides = ["wide" if place == wide else "right" if place in of.right else "" for place in range(len(of.heads))]
    heads = "".join(
        f'<th scope="col"{_class(side)}>{escape(head)}</th>' for head, side in zip(of.heads, sides, strict=True)
    )
    rows = "".join(_row(cells, sides, look) for cells, look in zip(of.rows, looks or ("",) * len(of.rows), strict=True))
    return f'<div class="scroll"><table><thead><tr>{heads}</tr></thead><tbody>\n{rows}</tbody></table></div>\n'


def _row(cells: tuple[str, ...], sides: list[str], looks: str) -> str:
    inner = "".join(f"<td{_class(side)}>{escape(cell)}</td>" for cell, side in zip(cells, sides, strict=True))
    return f"<tr{_class(looks)}>{inner}</tr>\n"


def _class(name: str) -> str:
    return f' class="{name}"' if name else ""
