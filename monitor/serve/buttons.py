"""The keys that make sense now, as buttons for a page without a keyboard. Pure; the keys are the screen's own table."""

from collections.abc import Iterator
from typing import Final

from monitor.tui.keys import Key, key_for, keys_of
from monitor.tui.pages import Page
from monitor.tui.view import View

ASKING: Final = frozenset({"acknowledge", "shelve", "service", "reset"})
"""Deeds that ask something of the watch."""

_WORDS: Final = {
    "service": "out of service",
    "reset": "reset",
    "path": "path",
    "ahead": "to come",
    "back": "back",
    "alone": "alone",
    "zoom(-1)": "closer",
    "zoom(1)": "wider",
    "pan(-1)": "earlier",
    "pan(1)": "later",
    "scroll(8)": "down",
    "scroll(-8)": "up",
}
"""In place of a key's own words at the foot, which may be for two keys, or none."""

_LEFT_OUT: Final = frozenset({"leave", "next(-1)", "group(-1)"})
"""A page is left by closing it; what goes round goes round forwards."""

_CHOOSING: Final = frozenset({"choose(-1)", "choose(1)"})
_ONLY_ON: Final = {"service": Page.ALERTS, "reset": Page.ALERTS}

Button = tuple[str, str, str]
"""The key that it presses, how the key is shown, and what it does."""


def buttons(view: View, *, may_ask: bool) -> list[Button]:
    """The buttons of a page, in the order of the table of keys."""
    if view.question is not None:
        return [("1", "1", ""), ("2", "2", ""), ("3", "3", ""), ("escape", "Esc", "leave it as it is")]
    if view.finding is not None:
        return [("up", "↑", ""), ("down", "↓", ""), ("enter", "Enter", "go there"), ("escape", "Esc", "back")]
    return [button for key in keys_of(view) if _is_shown(key, view, may_ask) for button in _of(key, view)]


def asks(view: View, pressed: str) -> bool:
    """Whether a key would ask something of the watch, or begin to."""
    if view.question is not None or view.finding is not None:
        return False
    key = key_for(view, pressed)
    return key is not None and key.deed in ASKING


def _is_shown(key: Key, view: View, may_ask: bool) -> bool:  # noqa: FBT001 -- called above only
    if key.deed in _LEFT_OUT or (key.deed == "back" and view.page is Page.WATCH):
        return False
    if key.deed in _CHOOSING and len(view.listed) <= 1:
        return False
    if key.deed in ASKING and (not may_ask or view.page is Page.HELP or not view.listed):
        return False
    return _ONLY_ON.get(key.deed, view.page) is view.page


def _of(key: Key, view: View) -> Iterator[Button]:
    if key.deed == "strand":
        strands = () if view.latest is None else view.latest.strands
        yield from ((str(it.input), str(it.input), "") for it in strands if str(it.input) in key.keys)
    else:
        held_back = f" ({view.hidden_alerts} held back)" if key.deed == "alerts" and view.hidden_alerts else ""
        yield key.keys[0], key.shown, _WORDS.get(key.deed, key.brief) + held_back
