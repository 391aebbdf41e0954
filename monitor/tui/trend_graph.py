"""One value over the time shown: a line of words, and its graph below. Pure."""

import math
from dataclasses import dataclass

import numpy as np

from monitor.history.channels import Channel
from monitor.history.memory import History
from monitor.history.trend import Trend
from monitor.tui.graph import Curve, Layout, Level, graph
from monitor.tui.graph_scale import number, value_words
from monitor.tui.ink import BOLD, DIM, PLAIN, Line, Span, crop
from monitor.tui.trend_channels import drawn_limits, set_key_of
from monitor.tui.words import duration


@dataclass(frozen=True, slots=True)
class TimeShown:
    """What is shown, and since when anything was watched [s of machine time]."""

    begin_s: float
    end_s: float
    known_from_s: float

    def before(self, columns: int) -> int:
        """How many columns lie before anything was watched."""
        length_s = self.end_s - self.begin_s
        share = 0.0 if length_s <= 0 else (self.known_from_s - self.begin_s) / length_s
        return min(columns, max(0, math.ceil(share * columns)))


def levels_of(channel: Channel) -> tuple[Level, ...]:
    """Limits of a curve as they stand now."""
    return tuple(Level(*limit) for limit in drawn_limits(channel))


def trend_graph(
    channel: Channel, history: History, time: TimeShown, layout: Layout, rows: int, *, head: Line, is_old: bool
) -> list[Line]:
    """Exactly `rows` lines: `head`, the value in words, and the graph."""
    trend = history.trend(channel.key, time.begin_s, time.end_s, layout.cells)
    words = crop((*head, *_words(channel, trend, is_old=is_old)), sum(layout))
    curve = Curve(trend.low, trend.high, trend.known, channel.unit, time.before(layout.cells))
    return [words, *graph(curve, _levels_then(channel, history, trend), layout, rows - 1, dim=is_old)][: max(0, rows)]


def _levels_then(channel: Channel, history: History, trend: Trend) -> list[Level]:
    """Limits as they stand now; of the set point what it was at each time, as far as that is known."""
    levels = list(levels_of(channel))
    set_key = set_key_of(channel)
    if set_key is None:
        return levels
    were = history.trend(set_key, trend.begin_s, trend.end_s, len(trend.known))
    return [
        it._replace(value=were.last.astype(float)) if it.name == "set" and were.known.any() else it for it in levels
    ]


def _words(channel: Channel, trend: Trend, *, is_old: bool) -> list[Span]:
    known = np.flatnonzero(trend.known)
    title = Span(f" {channel.title}", BOLD)
    if not len(known):
        return [title, Span("  not known in this time", DIM)]
    value = value_words(channel.unit, float(trend.last[known[-1]]))
    is_newest = bool(trend.known[-1]) and not is_old
    return [
        title,
        Span(f"  {value}" if is_newest else f"  {value}?", PLAIN if is_newest else DIM),
        *_range(channel, trend),
    ]


def _range(channel: Channel, trend: Trend) -> list[Span]:
    """Lowest and highest value, where they differ in words."""
    if trend.extent is None:
        return []
    say = duration if channel.unit == "s" else number
    low, high = (say(value) for value in trend.extent)
    return [Span(f"  from {low} to {high}" if low != high else "", DIM)]
