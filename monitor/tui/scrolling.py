"""Lines that do not all fit: as many as do, and how many more there are; some pages can be moved through. Pure."""

from collections.abc import Sequence
from typing import Final

from monitor.tui.ink import REVERSE, Line, Span, fit
from monitor.tui.pages import Page

SCROLLING: Final = frozenset({Page.ALERTS, Page.HELP})
"""Pages of running text: what does not fit is reached with PgDn and PgUp."""


def most_scroll(lines: int, fixed: int, room: int) -> int:
    """How many lines the moving part can be moved on: `fixed` of all `lines` stay, and one tells how many more."""
    return max(0, lines - room + 1) if lines > room > fixed + 1 else 0


def in_room(lines: Sequence[Line], room: int, width: int, *, fixed: int = 0, scroll: int | None = None) -> list[Line]:
    """As many lines as there is room for; what is left out is counted in the last one.

    Parameters
    ----------
    lines : sequence of Line
        All of them.
    room, width : int
        Lines and cells there are.
    fixed : int
        How many of the first lines stay where they are.
    scroll : int or None
        How many lines the others are moved on; None where they cannot be.
    """
    if len(lines) <= room:
        return list(lines)
    if room <= 0:
        return []
    most = most_scroll(len(lines), fixed, room)
    moved = min(scroll or 0, most)
    shown = [*lines[:fixed], *lines[fixed + moved :]][: room - 1]
    below = len(lines) - moved - len(shown)
    return [*shown, (Span(fit(_words(below, moved, can_scroll=scroll is not None and most > 0), width), REVERSE),)]


def _words(below: int, above: int, *, can_scroll: bool) -> str:
    if not can_scroll:
        return f" {below} more lines: make the window larger "
    keys = [f"{below} more lines: PgDn" if below else "", f"{above} above: PgUp" if above else ""]
    return f" {'   '.join(filter(None, keys))} "
