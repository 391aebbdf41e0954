"""Lines of a screen as an SVG drawing: nothing is fetched, light and dark follow the reader's choice.

The three colours stand for the terminal's own red, yellow and cyan; all text is there to be read and copied.
"""

from collections.abc import Iterator, Sequence
from html import escape
from typing import Final

from rich.cells import cell_len

from monitor.core.alert_types import Priority
from monitor.tui.ink import Line, Span

CELL_PX, ROW_PX, EDGE_PX = 8.0, 17.0, 12.0
_FONT: Final = "ui-monospace, 'DejaVu Sans Mono', Menlo, Consolas, monospace"
_CLASS: Final = {Priority.ALARM: "alarm", Priority.WARNING: "warning", Priority.CAUTION: "caution"}
_STYLE: Final = f"""
  svg {{ --paper: #fdfdfb; --ink: #222; --alarm: #b3001e; --warning: #8a6100; --caution: #006f7c; }}
  @media (prefers-color-scheme: dark) {{
    svg {{ --paper: #16181a; --ink: #d8d8d4; --alarm: #ff6b70; --warning: #e6b93c; --caution: #54c7d4; }}
  }}
  text {{ font: 13px {_FONT}; fill: var(--ink); white-space: pre; }}
  .alarm {{ fill: var(--alarm); }} .warning {{ fill: var(--warning); }} .caution {{ fill: var(--caution); }}
  .dim {{ opacity: 0.62; }} .bold {{ font-weight: 700; }} .paper {{ fill: var(--paper); }}
  rect {{ fill: var(--ink); }} rect.alarm {{ fill: var(--alarm); }} rect.warning {{ fill: var(--warning); }}
  rect.caution {{ fill: var(--caution); }} rect.paper {{ fill: var(--paper); }}
"""


def svg_of(lines: Sequence[Line], width: int, title: str, caption: str) -> str:
    """A drawing of lines that are `width` cells wide; the caption stands below them."""
    across, down = width * CELL_PX + 2 * EDGE_PX, (len(lines) + 1.5) * ROW_PX + 2 * EDGE_PX
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {across:g} {down:g}" role="img">',
        f"<title>{escape(title)}</title><style>{_STYLE}</style>",
        f'<rect class="paper" width="{across:g}" height="{down:g}"/>',
        *(part for row, line in enumerate(lines) for part in _line(line, row)),
        _text(Span(caption), EDGE_PX, EDGE_PX + (len(lines) + 1) * ROW_PX, "dim"),
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def _line(line: Line, row: int) -> Iterator[str]:
    x_px, y_px = EDGE_PX, EDGE_PX + row * ROW_PX
    for span in line:
        cells = cell_len(span.text)
        if span.text.strip() or span.look.reverse:
            yield from _span(span, x_px, y_px, cells)
        x_px += cells * CELL_PX


def _span(span: Span, x_px: float, y_px: float, cells: int) -> Iterator[str]:
    look = span.look
    own = "" if look.signal is None else _CLASS[look.signal]
    if look.reverse:
        kind = f' class="{own}"' if own else ""
        yield f'<rect{kind} x="{x_px:g}" y="{y_px:g}" width="{cells * CELL_PX:g}" height="{ROW_PX:g}"/>'
    names = ["paper" if look.reverse else own, "bold" if look.bold else "", "dim" if look.dim else ""]
    yield _text(span, x_px, y_px, " ".join(filter(None, names)))


def _text(span: Span, x_px: float, y_px: float, names: str) -> str:
    kind = f' class="{names}"' if names else ""
    length = cell_len(span.text) * CELL_PX
    place = f'x="{x_px:g}" y="{y_px + 0.76 * ROW_PX:g}" textLength="{length:g}"'
    return f'<text{kind} {place} xml:space="preserve">{escape(span.text)}</text>'
