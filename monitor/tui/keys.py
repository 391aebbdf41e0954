"""The keys, and the page that explains them.

One table serves the bindings of the app, the line at the foot and the help page, so that they cannot differ.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from monitor.core.alert_types import Priority
from monitor.tui.dose_bar import UNSURE
from monitor.tui.ink import BOLD, DIM, PLAIN, Line, Look, Span, crop, hanging
from monitor.tui.path_words import ESTIMATE
from monitor.tui.words import STANDS_IN, SYMBOL


@dataclass(frozen=True, slots=True)
class Key:
    """One key: what the keyboard calls it, the action of the app, how it is shown, in brief and in full.

    Without words of its own it is explained beside another key: the page of help must fit a small screen.
    """

    keys: str
    action: str
    shown: str
    brief: str
    words: str
    shares: bool = False  # stands at the foot before the next one, whose brief words are for both


KEYS: Final = (
    Key("k", "acknowledge", "k", "seen it", "acknowledge the marked alert: you have seen it"),
    Key("s", "shelve", "s", "shelve", "shelve it, or take it back; o: out of service; r: reset a latched one"),
    Key("o", "service", "o", "", ""),
    Key("r", "reset", "r", "", ""),
    Key("up", "choose(-1)", "↑", "", "mark the alert above; ↓ marks the one below", shares=True),
    Key("down", "choose(1)", "↓", "alerts", ""),
    Key("a", "page('ALERTS')", "a", "list", "all alerts, with their story and what is held back; and back"),
    Key("p", "page('PATH')", "p", "path", "the hot path alone, and back; ?: this page; q: leave the screen"),
    Key("question_mark,h", "page('HELP')", "?", "help", ""),
    Key("q,ctrl+q", "leave", "q", "leave", ""),
)
REPLAY_KEYS: Final = (
    Key("space", "play_or_pause", "space", "play", "play or pause; + faster, - slower, from 1× to as fast as it goes"),
    Key("plus,equals_sign", "faster(1)", "+", "", ""),
    Key("minus", "faster(-1)", "-", "", ""),
    Key(
        "left", "step(-1)", "←", "", "one sample back; → one on; PgUp, PgDn: a minute; Home, End: the ends", shares=True
    ),
    Key("right", "step(1)", "→", "step", ""),
    Key("pageup", "skip(-60)", "PgUp", "", ""),
    Key("pagedown", "skip(60)", "PgDn", "", ""),
    Key("home", "to_begin", "Home", "", ""),
    Key("end", "to_end", "End", "", ""),
    Key(
        "n",
        "to_alert(1)",
        "n",
        "",
        "next alert; b: the one before; d: next dose to pass its warn w or limit L",
        shares=True,
    ),
    Key("b", "to_alert(-1)", "b", "alert", ""),
    Key("d", "to_dose", "d", "dose", ""),
    Key("f", "ask_feed", "f", "feed", "where an input was fed last; t: go to a time of day, or after the start"),
    Key("t", "ask_time", "t", "time", ""),
    Key(
        "a",
        "page('ALERTS')",
        "a",
        "list",
        "all alerts; ↑ ↓: mark another; p: the hot path; ?: this page; q: leave",
    ),
    Key("up", "choose(-1)", "↑", "", ""),
    Key("down", "choose(1)", "↓", "", ""),
    Key("p", "page('PATH')", "p", "path", ""),
    Key("question_mark,h", "page('HELP')", "?", "help", ""),
    Key("q,ctrl+q", "leave", "q", "leave", ""),
)
"""While a recording is replayed: nothing can be asked of an alert of the past, so the keys for that are free."""

_CAUTIONS: Final = (
    "This program watches; it does not protect. It may fail or be wrong.",
    "Keep its own thermal protection, a smoke alarm and an independent cut-off.",
    "After a failure air the room, then go close. Parts stay hot after power-off.",
    "Smoke: cut the power if that is safe, leave, call for help.",
)

_READING: Final = (
    ("dose", "the bar ends a quarter past the limit; w marks the warn dose, L the limit"),
    ("left", "the cautious end of the time until the next mark, if nothing changes"),
    ("soft", "how far up from the merge point the strand is soft, of what may be"),
    (STANDS_IN, "a strand some of whose values are another material's, as the profile says"),
    ("est.", f"after {ESTIMATE}: a wall without a sensor, reckoned from what heats and cools it"),
    (f"to {UNSURE}", "no data came meanwhile: so long it may have stood, so much dose taken"),
    ("of 5", "shared: whose material is on its way to the nozzle, and how long"),
    ("?", "a value that is not of now: kept, dim; the data line tells its age"),
)

LEAVING: Final = " leaving ends the watch: press q again to leave, any other key to stay "


def question_line(text: str, width: int) -> Line:
    """A question at the foot."""
    return crop((Span(text, Look(bold=True, reverse=True)),), width)


def foot_line(hidden_alerts: int, width: int, keys: Sequence[Key] = KEYS) -> Line:
    """The keys in brief, and how many alerts are held back."""
    spans: list[Span] = []
    for key in keys:
        if not key.brief and not key.shares:
            continue  # explained on the page of help
        spans.append(Span(f" {key.shown}" if spans and spans[-1].text.strip() else key.shown, BOLD))
        spans.append(Span(f" {key.brief} " if key.brief else "", DIM))
    if hidden_alerts:
        spans.append(Span(f" held back: {hidden_alerts}", PLAIN))
    return crop((Span("  "), *spans), width)


def help_page(width: int, keys: Sequence[Key] = KEYS) -> list[Line]:
    """Keys, marks, how to read the rows, and the cautions."""
    lines: list[Line] = [(Span("keys", BOLD),)]
    for key in keys:
        lines += hanging(f"  {key.shown:<4} ", key.words, width) if key.words else []
    lines += [(Span("marks", BOLD), *_priorities()), (Span("  reversed until you acknowledge it"),)]
    lines.append((Span("reading the rows", BOLD),))
    for head, text in _READING:
        lines += hanging(f"  {head:<5}", text, width)
    lines.append((Span("cautions", BOLD),))
    for text in _CAUTIONS:
        lines += hanging("  ", text, width)
    return [crop(line, width) for line in lines]


def _priorities() -> list[Span]:
    meaning = {Priority.ALARM: "act now", Priority.WARNING: "act soon", Priority.CAUTION: "needs attention"}
    return [Span(f"  {SYMBOL[priority]} {priority.name} {words}") for priority, words in meaning.items()]
