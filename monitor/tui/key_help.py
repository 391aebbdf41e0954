"""The line of keys at the foot, and the page that explains keys, marks, rows and the cautions."""

from collections.abc import Sequence
from typing import Final

from monitor.core.alert_types import Priority
from monitor.tui.dose_bar import UNSURE
from monitor.tui.ink import BOLD, DIM, PLAIN, Line, Look, Span, crop, hanging, width_of
from monitor.tui.keys import Key, keys_of
from monitor.tui.pages import Page
from monitor.tui.path.words import ESTIMATE
from monitor.tui.view import View
from monitor.tui.words import STANDS_IN, SYMBOL

_CAUTIONS: Final = (
    "This program watches; it does not protect. It may fail or be wrong.",
    "Keep its own thermal protection, a smoke alarm and an independent cut-off.",
    "After a failure air the room, then go close. Parts stay hot after power-off.",
    "Smoke: cut the power if that is safe, leave, call for help.",
)
_CAUTIONS_OF_A_REPLAY: Final = (_CAUTIONS[0], _CAUTIONS[-1])

_ROWS: Final = (
    ("dose", "the bar ends a quarter past the limit; w marks the warn dose, L the limit"),
    ("left", "the cautious end of the time until the next mark, if nothing changes"),
    ("soft", "how far up from the merge point the strand is soft, of what may be"),
    (STANDS_IN, "a strand some of whose values are another material's, as the profile says"),
    ("est.", f"after {ESTIMATE}: a wall without a sensor, reckoned from what heats and cools it"),
    (f"to {UNSURE}", "no data came meanwhile: so long it may have stood, so much dose taken"),
    ("of 5", "shared: whose material is on its way to the nozzle, and how long"),
    ("?", "a value that is not of now: kept, dim; the data line tells its age"),
)
_BAR: Final = ("bar", "▲ ◆ ● alerts, w L doses that pass a mark, ▒ no data, ┃ here, ■ the end")
_READING: Final = {
    Page.TRENDS: (
        ("█", "from the lowest to the highest value in the time of one column"),
        ("┄", "a limit, its name and value at the right; an arrow where it lies beyond"),
        ("░", "no data came, or nothing that counts: nothing is drawn across a gap"),
        ("↑", "higher than the graph reaches; of a time left: no limit ahead"),
    ),
    Page.AHEAD: (
        ("━", "hot and within its doses if nothing changes; ▒ past its warn dose"),
        ("L", "it reaches its limit here by the cautious end of its range; ▓ past it"),
        ("↓", "needed next, as the plan of the build has it (watch --plan FILE)"),
        ("─", "feeding, cold or withdrawn: nothing ages it in the hot path"),
    ),
    Page.STRAND: (
        ("heat", "each column is a piece of the strand, merge point at the left"),
        ("mm", "up to where it is soft, and from where on it must be stiff"),
        ("dose", "w marks the warn dose, L the limit; the material moves to the left as it is fed"),
    ),
}

_STAYING: Final = frozenset({"help", "leave"})
_FOR_ALERTS: Final = frozenset({"acknowledge", "shelve", "choose(-1)", "choose(1)"})

LEAVING: Final = " leaving ends the watch: press q again to leave, any other key to stay "


def question_line(text: str, width: int) -> Line:
    """A question at the foot."""
    return crop((Span(text, Look(bold=True, reverse=True)),), width)


def foot_line(view: View, width: int) -> Line:
    """The keys in brief as far as there is room, and how many alerts are held back.

    Keys for alerts come first where there are any, and are left out where there are none; help and leaving always stay.
    """
    held = (Span(f" held back: {view.hidden_alerts}", PLAIN),) if view.hidden_alerts else ()
    keys = [
        key for key in keys_of(view) if (key.brief or key.shares) and (_can_ask(view) or key.deed not in _FOR_ALERTS)
    ]
    while width_of(line := (Span("  "), *_brief(keys), *held)) > width and len(keys) > len(_STAYING):
        keys.remove([key for key in keys if key.deed not in _STAYING][-1])
    return crop(line, width)


def _can_ask(view: View) -> bool:
    """Whether there is an alert to ask something of, and a watch to ask."""
    return bool(view.listed) and view.ended is None


def _brief(keys: Sequence[Key]) -> list[Span]:
    spans: list[Span] = []
    for key in keys:
        spans.append(Span(f" {key.shown}" if spans and spans[-1].text.strip() else key.shown, BOLD))
        spans.append(Span(f" {key.brief} " if key.brief else "", DIM))
    return spans


def help_page(view: View, width: int) -> list[Line]:
    """Keys of the page it was opened from, marks, how to read that page, and the cautions."""
    lines: list[Line] = [(Span("keys", BOLD),), *_key_lines(keys_of(view), width)]
    lines.append((Span("marks", BOLD), *_priorities()))
    lines.append((Span("reading the rows" if view.helped not in _READING else "reading the page", BOLD),))
    rows = _ROWS if view.replay is None else (*_ROWS[:-1], _BAR)
    for head, text in _READING.get(view.helped, rows):
        lines += hanging(f"  {head:<5}", text, width)
    lines.append((Span("cautions", BOLD),))
    for text in _CAUTIONS if view.replay is None else _CAUTIONS_OF_A_REPLAY:
        lines += hanging("  ", text, width)
    return [crop(line, width) for line in lines]


def _key_lines(keys: Sequence[Key], width: int) -> list[Line]:
    return [line for key in keys if key.words for line in hanging(f"  {key.shown:<4} ", key.words, width)]


def _priorities() -> list[Span]:
    meaning = {Priority.ALARM: "act now", Priority.WARNING: "act soon", Priority.CAUTION: "needs attention"}
    return [Span(f"  {SYMBOL[priority]} {priority.name} {words}") for priority, words in meaning.items()]
