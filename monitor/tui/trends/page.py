"""The page of trends: values over time, as many graphs as there is room for, all over the same time. Pure.

Owns what stands where. Which curves there are is `channels`', what they were the history's.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from monitor.core.assessment import Assessment
from monitor.history.channels import Channel, readings_of
from monitor.tui.graphs.axis import ago, time_axis
from monitor.tui.graphs.graph import Layout, layout_for
from monitor.tui.ink import BOLD, DIM, Line, Span, apart, beside, crop, hanging
from monitor.tui.strand_rows import mark_of
from monitor.tui.trends.channels import channels_shown
from monitor.tui.trends.choice import Group, TrendChoice
from monitor.tui.trends.graph import Past, TimeShown, levels_of, trend_graph
from monitor.tui.view import View
from monitor.tui.words import age, duration, name_of

_LEAST_ROWS: Final = 5
"""A graph with its words; with fewer rows it says too little."""

_TWO_FROM_CELLS: Final = 160
_BETWEEN: Final = 2
_OTHER_ROWS: Final = 2
_LAST_HOURS: Final = TrendChoice(Group.WALLS, span_s=4 * 3600.0)


def trends_page(view: View, latest: Assessment, width: int, rows: int) -> list[Line]:
    """Title, graphs and times in at most `rows` lines; what there is not, in words."""
    channels = channels_shown(view.trend, latest)
    if view.history is None or view.history.span is None:
        return hanging("  ", "nothing is remembered yet: values stand here as soon as there are some", width, BOLD)
    if not channels:
        return [_title(view, latest, width), *hanging("  ", _nothing(view), width, BOLD)]
    across = 2 if width >= _TWO_FROM_CELLS and len(channels) > 1 else 1
    down = min(max(1, (rows - _OTHER_ROWS) // _LEAST_ROWS), math.ceil(len(channels) / across))
    shown = _around(channels, view.trend.marked, across * down)
    more = len(channels) - len(shown)
    title = _title(view, latest, width, f"{more} more: ↑↓, or a larger window" if more else "")
    return [title, *_graphs(view, latest, channels, shown, width, rows - _OTHER_ROWS, across)][: max(0, rows)]


def wall_trends(view: View, latest: Assessment, width: int, rows: int) -> list[Line]:
    """Walls of the last hours in at most `rows` lines, to stand beside something else; none before any are known."""
    walls = replace(view, trend=_LAST_HOURS)
    channels = [it for it in channels_shown(walls.trend, latest) if it.key.startswith("wall ")]
    shown = channels[: max(0, (rows - _OTHER_ROWS) // _LEAST_ROWS)]
    if view.history is None or view.history.span is None or not shown:
        return []
    return [_title(walls, latest, width), *_graphs(walls, latest, [], shown, width, rows - _OTHER_ROWS, 1)]


def _graphs(
    view: View,
    latest: Assessment,
    channels: Sequence[Channel],
    shown: Sequence[Channel],
    width: int,
    room: int,
    across: int,
) -> list[Line]:
    """The graphs side by side and above one another, and their times once below."""
    cells = (width - _BETWEEN * (across - 1)) // across
    layout = layout_for(cells, [level for channel in channels for level in levels_of(channel)])
    down = math.ceil(len(shown) / across)
    lines: list[Line] = []
    for at in range(down):
        rows = room * (at + 1) // down - room * at // down
        row = shown[at * across : (at + 1) * across]
        blocks = [
            _graph(view, latest, channel, layout, rows, is_marked=_is_marked(view, channels, channel))
            for channel in row
        ]
        lines += [beside(parts, cells + _BETWEEN) for parts in zip(*blocks, strict=True)]
    return [*lines, beside([_axis(view, latest, layout)] * min(across, len(shown)), cells + _BETWEEN)]


def _graph(
    view: View, latest: Assessment, channel: Channel, layout: Layout, rows: int, *, is_marked: bool
) -> list[Line]:
    assert view.history is not None  # noqa: S101 -- told in words before
    strand = next((it for it in latest.strands if it.input == channel.input), None)
    head = (Span("▸" if is_marked else " "), Span(" ") if strand is None else mark_of(strand, view.alerts))
    begin_s, now_s = view.known_s
    time = TimeShown(*view.trend.between(begin_s, now_s), begin_s, now_s)
    past = Past(view.history, readings_of(latest), time, view.is_old)
    return trend_graph(channel, past, layout, rows, head=head, name="" if strand is None else name_of(strand))


def _is_marked(view: View, channels: Sequence[Channel], channel: Channel) -> bool:
    return len(channels) > 1 and channel is channels[min(view.trend.marked, len(channels) - 1)]


def _axis(view: View, latest: Assessment, layout: Layout) -> Line:
    begin_s, end_s = view.trend.between(*view.known_s)
    times = time_axis(begin_s, end_s, layout.cells, now_s=latest.time_s, now=now_word(view))
    return (Span(" " * layout.left), *times)


def _title(view: View, latest: Assessment, width: int, more: str = "") -> Line:
    name = "" if view.trend.group is Group.ONE else f" {view.trend.group.value}"
    left = (Span(name, BOLD), Span(f"  {_time_words(view, latest)}"))
    return crop(apart(left, (Span(more, DIM),), width), width)


def _time_words(view: View, latest: Assessment) -> str:
    """How much time, and up to when."""
    begin_s, end_s = view.trend.between(*view.known_s)
    length = f"all {duration(end_s - begin_s)}" if view.trend.span_s is None else ago(view.trend.span_s)
    place = now_word(view)
    if view.trend.end_s is not None and end_s < latest.time_s:
        return f"{length}, up to {duration(latest.time_s - end_s)} before {place}"
    if place == "now" and view.is_old:
        return f"{length}, up to the newest data, {age(view.data_age_s)} old"
    return f"{length}, up to {place}"


def _nothing(view: View) -> str:
    if view.trend.group is Group.ONE:
        return f"there is no value called {view.trend.channel} now"
    return "this machine tells nothing of that"


def _around(channels: Sequence[Channel], marked: int, room: int) -> Sequence[Channel]:
    """As many as there is room for, the marked one among them."""
    at = min(marked, len(channels) - 1)
    first = max(0, min(at - room // 2, len(channels) - room))
    return channels[first : first + room]


def now_word(view: View) -> str:
    """What the newest moment is called."""
    if view.replay is not None:
        return "here"
    return "now" if view.ended is None else "the end"
