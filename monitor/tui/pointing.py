"""What the mouse means on a screen: the keys that a click or a turn of the wheel stands for. Pure.

Nothing can be done by mouse that no key does. Goes by what is drawn, so a click means what stands under it; where
nothing stands that means a key, there is none.
"""

import re
from collections.abc import Sequence
from typing import Final

from monitor.core.alert_types import Priority
from monitor.tui.ink import BOLD, Line
from monitor.tui.keys import keys_of
from monitor.tui.pages import Page
from monitor.tui.present import frame
from monitor.tui.view import View
from monitor.tui.words import SYMBOL

Keys = tuple[str, ...]

_ALERT: Final = re.compile("|".join(f"{SYMBOL[priority]} {priority.name}" for priority in Priority))
_ROW: Final = re.compile(r" ?(\d+) ")
_COLUMN: Final = re.compile(r"(\d+) ")
_PICTURE: Final = "hot path"
_WITH_STRANDS: Final = frozenset({Page.WATCH, Page.PATH, Page.AHEAD})
_ONE_KEY: Final = 9


def click(view: View, width: int, height: int, x: int, y: int) -> Keys:
    """Keys that a click at a cell of a screen of this size stands for: at the foot, on a strand, on an alert."""
    if view.question is not None or view.jump is not None or view.finding is not None:
        return ()
    lines = frame(view, width, height)
    if not 0 <= y < len(lines):
        return ()
    if y == len(lines) - 1:
        return _at_foot(view, lines[y], x)
    number = _strand_at(lines, x, y) if view.page in _WITH_STRANDS else None
    if number is not None:
        return (str(number),) if number <= _ONE_KEY else ()
    return _to_alert(lines, y)


def wheel(view: View, *, up: bool) -> str:
    """The key that a turn of the wheel stands for: closer or wider in trends, else the mark above or below."""
    if view.page is Page.TRENDS and view.finding is None:
        return "z" if up else "x"
    return "up" if up else "down"


def _at_foot(view: View, line: Line, x: int) -> Keys:
    """The key under the pointer, or whose words are."""
    shown, end = "", 0
    for span in line:
        if span.look == BOLD and span.text.strip():
            shown = span.text.strip()
        end += len(span.text)
        if x < end:
            break
    return next(((key.keys[0],) for key in keys_of(view) if key.shown == shown and key.deed != "strand"), ())


def _strand_at(lines: Sequence[Line], x: int, y: int) -> int | None:
    """The input whose row, or whose column of the picture, is there."""
    row = lines[y]
    if len(row) >= len((" ", "mark", "words")) and row[0].text == " " and len(row[1].text) == 1:
        found = _ROW.match(row[2].text)
        if found is not None:
            return int(found[1])
    head = next((at for at, line in enumerate(lines) if line and line[0].text.strip() == _PICTURE), len(lines))
    return _column_at(lines[head], x) if head <= y else None


def _column_at(head: Line, x: int) -> int | None:
    """The input named at the head of the column; its mark stands before it."""
    at = 0
    for span in head:
        found = _COLUMN.match(span.text)
        if found is not None and at - 1 <= x < at + len(span.text):
            return int(found[1])
        at += len(span.text)
    return None


def _to_alert(lines: Sequence[Line], y: int) -> Keys:
    """From the alert that is marked to the one at this line, or whose words are."""
    heads = [at for at, line in enumerate(lines) if len(line) > 1 and _ALERT.match(line[1].text)]
    marked = next((number for number, at in enumerate(heads) if lines[at][0].text == "▸"), None)
    here = max((number for number, at in enumerate(heads) if at <= y), default=None)
    if marked is None or here is None or not all(_is_of_alert(line) for line in lines[heads[here] + 1 : y + 1]):
        return ()
    return ("down",) * (here - marked) or ("up",) * (marked - here)


def _is_of_alert(line: Line) -> bool:
    """Whether a line goes on with the words of an alert."""
    return len(line) == len(("indent", "words")) and line[0].text.startswith("  ")
