"""Two lines of a replay: where it stands and what comes next, and the bar of the whole time.

Every mark has its own character, so that the bar is read without colour and in plain ASCII; what stands at a place is
also told in words.
"""

from typing import Final

from monitor.replay.view import FASTEST, Gap, Mark, MarkKind, ReplayView
from monitor.tui.ink import BOLD, DIM, PLAIN, REVERSE, Line, Look, Span, crop, width_of
from monitor.tui.words import SYMBOL, duration

_TOLD: Final = {MarkKind.WARN_DOSE: "w", MarkKind.LIMIT_DOSE: "L"}
_HERE, _PAST, _AHEAD, _NO_DATA, _UNREAD, _END = "┃", "━", "─", "▒", "·", "■"
_LEAST_BAR: Final = 10
_ENDLESS_S: Final = 1e4 * 3600.0
_TALL_FROM_ROWS: Final = 28
_BRIEF: Final = "  space n b d f t  ? help"
_BRIEF_FROM_CELLS: Final = 70


def replay_foot(replay: ReplayView, keys: Line, width: int, height: int) -> list[Line]:
    """The bar and the keys; on a low screen in one line."""
    if height >= _TALL_FROM_ROWS:
        return [_bar(replay, width), keys]
    brief = (Span(_BRIEF, DIM),) if width >= _BRIEF_FROM_CELLS else ()
    return [(*_bar(replay, width - width_of(brief)), *brief)]


def place(replay: ReplayView) -> Line:
    """Whether it plays, how fast, where it stands, and what is most worth telling of this place."""
    pace = "as fast as it goes" if replay.speed == FASTEST else f"{replay.speed:g}×"
    word = Span(f"{'PLAYING' if replay.is_playing else 'PAUSED'} {pace}", REVERSE)
    length = f"{_since(replay.end_s)}{'' if replay.is_read or replay.waits_for else ', reading on'}"
    return (word, Span(f" {_since(replay.time_s)} of {length}  "), *_words(replay))


def mark_symbol(kind: MarkKind) -> Span:
    """The character of a mark on the bar, with the look of its priority."""
    priority = kind.priority
    return Span(_TOLD[kind], BOLD) if priority is None else Span(SYMBOL[priority], Look(signal=priority, bold=True))


def _words(replay: ReplayView) -> Line:
    """What is most worth telling of this place."""
    if replay.waits_for:
        return (Span(f"reading up to {replay.waits_for}", BOLD),)
    if replay.told:
        return (Span(replay.told, BOLD),)
    if replay.here is not None:
        return (Span("here "), mark_symbol(replay.here.kind), Span(f" {replay.here.text}", BOLD))
    if replay.is_read and replay.time_s >= replay.end_s:
        return (Span(replay.end, BOLD),)
    if replay.ahead is not None:
        in_s = duration(replay.ahead.time_s - replay.time_s)
        return (Span(f"in {in_s} ", DIM), mark_symbol(replay.ahead.kind), Span(f" {replay.ahead.text}", PLAIN))
    return (Span("no alert after this" if replay.is_read else "", DIM),)


def _bar(replay: ReplayView, width: int) -> Line:
    left, right = Span(f"{replay.begin_clock} ", DIM), Span(f" {replay.end_clock}", DIM)
    cells = width - len(left.text) - len(right.text)
    if cells < _LEAST_BAR:
        return crop(bar(replay, width), width)
    return (left, *bar(replay, cells), right)


def bar(replay: ReplayView, cells: int) -> Line:
    """The whole time in so many cells: played part, marks, gaps, where it stands, the end.

    The last cell belongs to the end: a full block once the end is known, a dot while there is more to read.
    """
    inner = max(1, cells - 1)
    here = _cell(replay, replay.time_s, inner)
    row = [Span(_PAST if at < here else _AHEAD, PLAIN if at < here else DIM) for at in range(inner)]
    for gap in replay.gaps:
        _draw_gap(row, replay, gap)
    worst: dict[int, MarkKind] = {}
    for mark in replay.marks:
        at = _cell(replay, mark.time_s, inner)
        worst[at] = max(worst.get(at, mark.kind), mark.kind, key=lambda kind: kind.value)
    for at, kind in worst.items():
        row[at] = mark_symbol(kind)
    row[here] = _standing(row[here], replay.here) if here in worst else Span(_HERE, BOLD)
    return (*row, Span(_END if replay.is_read else _UNREAD, PLAIN))


def _standing(marked: Span, here: Mark | None) -> Span:
    """The cell where a mark and the place fall together: the mark when it is at it, else the place."""
    if here is None:
        return Span(_HERE, BOLD)
    return Span(marked.text, Look(signal=marked.look.signal, bold=True, reverse=True))


def _draw_gap(row: list[Span], replay: ReplayView, gap: Gap) -> None:
    for at in range(_cell(replay, gap.begin_s, len(row)), _cell(replay, gap.end_s, len(row)) + 1):
        row[at] = Span(_NO_DATA, DIM)


def _cell(replay: ReplayView, time_s: float, cells: int) -> int:
    length_s = replay.end_s - replay.begin_s
    share = 0.0 if length_s <= 0 else (time_s - replay.begin_s) / length_s
    return min(cells - 1, max(0, int(share * cells)))


def _since(time_s: float) -> str:
    """Time since the recording began; a damaged one may claim any."""
    if time_s >= _ENDLESS_S:
        return "over 9999 h"
    whole_s = int(time_s)
    return f"{whole_s // 3600}:{whole_s // 60 % 60:02d}:{whole_s % 60:02d}"
