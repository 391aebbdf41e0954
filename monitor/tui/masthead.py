"""The lines at the top: what the machine does, how far it is, how old the data are, whether the watch lives."""

from typing import Final

from monitor.core.assessment import Assessment, Quality
from monitor.replay.view import ReplayView
from monitor.tui.ink import BOLD, DIM, PLAIN, REVERSE, Line, Span, apart, crop, hanging
from monitor.tui.replay_bar import place
from monitor.tui.view import View
from monitor.tui.words import age, duration, execution_words

_SHORT_BELOW_ROWS: Final = 13
_DATA_OF_REPLAY_FROM_ROWS: Final = 26


def masthead(view: View, width: int, height: int) -> list[Line]:
    """All head lines; on a low screen only those that cannot be missed."""
    short = height < _SHORT_BELOW_ROWS
    clock = Span(view.clock, DIM if view.ended else BOLD)
    data_age = Span(f"data {age(view.data_age_s)} old  ", BOLD if view.is_old else DIM)
    right = (data_age, clock) if short and view.latest is not None else (clock,)
    lines = [apart(_machine(view.latest), right, width), *_life_of_watch(view, width)]
    if view.latest is None:
        return lines
    if not view.latest.link_available:
        lines += _told("UNAVAILABLE", view.latest.link_reason or "the machine sends nothing", width)
    if view.replay is not None:
        lines.append(_place_then(view, view.replay, width))
        short = height < _DATA_OF_REPLAY_FROM_ROWS
    return lines if short else [*lines, _data(view, view.latest, width)]


def _place_then(view: View, replay: ReplayView, width: int) -> Line:
    """Where a replay stands, with the age of its data where it is not what it should be."""
    doubt = (Span(f"  data {age(view.data_age_s)} old", BOLD),) if view.is_old else ()
    return apart(place(replay), doubt, width)


def waiting(view: View, width: int) -> list[Line]:
    """What to show before the first assessment."""
    if view.ended is not None:
        return []
    if view.replay is not None and view.replay.is_read:
        return hanging("  ", "the recording holds no data", width, BOLD)
    return hanging("  ", f"waiting for the first data from {view.source}, {duration(view.unheard_s)} so far", width)


def _machine(latest: Assessment | None) -> Line:
    if latest is None:
        return (Span("strandwatch", BOLD),)
    state = execution_words(None if latest.execution is None else latest.execution.value)
    done = "" if latest.progress is None else f"  {int(latest.progress * 100)} % of the build"
    return (Span(state, BOLD), Span(done), Span(f"  {latest.machine}", DIM))


def _life_of_watch(view: View, width: int) -> list[Line]:
    if view.ended is not None:
        return _told("ENDED", f"the watch has ended: {view.ended}", width)
    if view.is_silent and view.latest is not None:
        words = f"the watch has concluded nothing for {duration(view.unheard_s)}; look whether its program still runs"
        return _told("SILENT", words, width)
    return []


def _told(word: str, text: str, width: int) -> list[Line]:
    first, *rest = hanging(f"■ {word} ", text, width, BOLD)
    return [(Span(f"■ {word}", REVERSE), Span(" "), *first[1:]), *rest]


def _data(view: View, latest: Assessment, width: int) -> Line:
    word = Quality.STALE.value if view.is_old and latest.quality is Quality.GOOD else latest.quality.value
    spans = [
        Span("data ", DIM),
        Span(f"{age(view.data_age_s)} old, {word}", BOLD if view.is_old else PLAIN),
        Span(f"  watched {duration(latest.time_s)}", DIM),
    ]
    missed = latest.counts.get("malformed", 0)
    if missed:
        spans.append(Span(f"  {missed} not understood", DIM))
    if latest.link_available and view.ended is None:
        spans.append(Span("  AVAILABLE", DIM))
    return crop((*spans, Span(f"  from {view.source}", DIM)), width)
