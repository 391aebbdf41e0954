"""The keys: what each does, on which pages, and how it is shown.

One table serves what a key does, the line at the foot and the help page, so that they cannot differ. A key is named by
the character it types, or as 'up', 'enter', 'tab' where it types none.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from monitor.tui.pages import Page
from monitor.tui.view import View


@dataclass(frozen=True, slots=True)
class Key:
    """One deed and the keys for it: how it is shown, in brief for the foot and in full for the help page.

    Without words of its own it is explained beside another key: the page of help must fit a small screen.

    Parameters
    ----------
    keys : tuple of str
        Characters typed, or names of keys that type none.
    deed : str
        What it does: a name of `monitor.tui.desk` or `replay_desk`.
    shown, brief, words : str
        The key, its meaning at the foot, and in full.
    pages : frozenset of Page
        Where it works.
    shares : bool
        Whether it stands at the foot before the next one, whose brief words are for both.
    """

    keys: tuple[str, ...]
    deed: str
    shown: str
    brief: str
    words: str
    pages: frozenset[Page] = frozenset(Page)
    shares: bool = False


_TRENDS: Final = frozenset({Page.TRENDS})
_STRAND: Final = frozenset({Page.STRAND})
_OF_ALERTS: Final = frozenset(Page) - _TRENDS

_TURNING: Final = (
    Key(("a",), "alerts", "a", "list", ""),
    Key(
        tuple("123456789"), "strand", "1-9", "strand",
        "one strand; p: the hot path alone; a: alerts; the same key, or Esc: back",
    ),
    Key(("p",), "path", "p", "", ""),
    Key(("v",), "trends", "v", "trends", "trends over hours; c: what is to come, next uses against time left"),
    Key(("c",), "ahead", "c", "to come", ""),
    Key(("/",), "find", "/", "find", "find a page, an input, an alert by letters; ?: this page; q: leave"),
    Key(("?", "h"), "help", "?", "help", ""),
    Key(("q", "ctrl+q"), "leave", "q", "leave", ""),
    Key(("escape",), "back", "Esc", "", ""),
)  # fmt: skip
_TEXTS: Final = frozenset({Page.ALERTS, Page.HELP})
_OF_PAGES: Final = (
    Key(("pagedown",), "scroll(8)", "PgDn", "more", "further down the page; PgUp: further up", _TEXTS),
    Key(("pageup",), "scroll(-8)", "PgUp", "", "", _TEXTS),
    Key(("tab",), "next(1)", "Tab", "next", "the next input; Shift-Tab: the one before", _STRAND),
    Key(("shift+tab",), "next(-1)", "", "", "", _STRAND),
    Key(("tab",), "group(1)", "Tab", "other", "other values; Shift-Tab: those before", _TRENDS),
    Key(("shift+tab",), "group(-1)", "", "", "", _TRENDS),
    Key(("up",), "graph(-1)", "↑", "", "mark another graph; Enter: that one alone, and back", _TRENDS, shares=True),
    Key(("down",), "graph(1)", "↓", "graphs", "", _TRENDS),
    Key(("enter",), "alone", "Enter", "", "", _TRENDS),
    Key(("z",), "zoom(-1)", "z", "", "closer; x: wider; 0: all there is, up to now", _TRENDS, shares=True),
    Key(("x",), "zoom(1)", "x", "zoom", "", _TRENDS),
    Key(("[",), "pan(-1)", "[", "", "earlier; ]: later, up to now", _TRENDS, shares=True),
    Key(("]",), "pan(1)", "]", "move", "", _TRENDS),
    Key(("0",), "whole", "0", "all", "", _TRENDS),
)

KEYS: Final = (
    Key(("k",), "acknowledge", "k", "seen it", "acknowledge the marked alert, reversed until then: you have seen it"),
    Key(("s",), "shelve", "s", "shelve", "shelve it, or take it back; o: out of service; r: reset a latched one",
        _OF_ALERTS),
    Key(("o",), "service", "o", "", "", _OF_ALERTS),
    Key(("r",), "reset", "r", "", "", _OF_ALERTS),
    Key(("up",), "choose(-1)", "↑", "", "mark the alert above; ↓: the one below; a: all alerts, with their story",
        _OF_ALERTS, shares=True),
    Key(("down",), "choose(1)", "↓", "alerts", "", _OF_ALERTS),
    *_OF_PAGES,
    *_TURNING,
)  # fmt: skip
"""While a watch runs."""

REPLAY_KEYS: Final = (
    Key((" ",), "play_or_pause", "space", "play",
        "play or pause; + faster, - slower, from 1× to as fast as it goes"),
    Key(("+", "="), "faster(1)", "+", "", ""),
    Key(("-",), "faster(-1)", "-", "", ""),
    Key(("left",), "step(-1)", "←", "", "one sample back; → one on; PgUp, PgDn: a minute; Home, End: the ends",
        shares=True),
    Key(("right",), "step(1)", "→", "step", ""),
    Key(("pageup",), "skip(-60)", "PgUp", "", "", frozenset(Page) - _TEXTS),
    Key(("pagedown",), "skip(60)", "PgDn", "", "", frozenset(Page) - _TEXTS),
    Key(("home",), "to_begin", "Home", "", ""),
    Key(("end",), "to_end", "End", "", ""),
    Key(("n",), "to_alert(1)", "n", "",
        "next alert; b: the one before; d: next dose to pass its warn w or limit L", shares=True),
    Key(("b",), "to_alert(-1)", "b", "alert", ""),
    Key(("d",), "to_dose", "d", "dose", ""),
    Key(("f",), "ask_feed", "f", "feed", "where an input was fed last; t: go to a time of day, or after the start"),
    Key(("t",), "ask_time", "t", "time", ""),
    Key(("up",), "choose(-1)", "↑", "", "mark the alert above; ↓: the one below; a: all alerts, with their story",
        _OF_ALERTS),
    Key(("down",), "choose(1)", "↓", "", "", _OF_ALERTS),
    *_OF_PAGES,
    *_TURNING,
)  # fmt: skip
"""While a recording is replayed: nothing can be asked of an alert of the past, so the keys for that are free."""


def keys_of(view: View) -> Sequence[Key]:
    """The keys that do something on the page of a view; on the page of help, those of the page it was opened from."""
    page = view.helped if view.page is Page.HELP else view.page
    return [key for key in _of(view) if page in key.pages]


def key_for(view: View, pressed: str) -> Key | None:
    """What a key means on the page of a view; None for nothing."""
    return next((key for key in _of(view) if pressed in key.keys and view.page in key.pages), None)


def deeds() -> Iterator[str]:
    """Every deed in the tables."""
    yield from {key.deed for key in (*KEYS, *REPLAY_KEYS)}


def _of(view: View) -> Sequence[Key]:
    return KEYS if view.replay is None else REPLAY_KEYS
