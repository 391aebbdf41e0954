"""One value over the time shown: a line of words, and its graph below. Pure."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from monitor.history.channels import Channel
from monitor.history.memory import History
from monitor.history.trend import Trend
from monitor.tui.graphs.graph import Curve, Layout, Level, graph
from monitor.tui.graphs.scale import value_words
from monitor.tui.ink import BOLD, DIM, PLAIN, Line, Span, apart, crop
from monitor.tui.trends.channels import drawn_limits, set_key_of

_NAME_FROM_CELLS: Final = 60


@dataclass(frozen=True, slots=True)
class TimeShown:
    """What is shown, since when anything was watched, and up to when [s of machine time]."""

    begin_s: float
    end_s: float
    known_from_s: float
    now_s: float

    @property
    def is_up_to_now(self) -> bool:
        """Whether it ends with the newest moment."""
        return self.end_s >= self.now_s

    def before(self, columns: int) -> int:
        """How many columns lie before anything was watched."""
        return self._columns_up_to(self.known_from_s, columns)

    def remembered(self, columns: int, history: History) -> int:
        """How many columns lie before the newest moment that was remembered, or hold it."""
        return columns if history.span is None else self._columns_up_to(history.span[1], columns)

    def _columns_up_to(self, time_s: float, columns: int) -> int:
        length_s = self.end_s - self.begin_s
        share = 0.0 if length_s <= 0 else (time_s - self.begin_s) / length_s
        return min(columns, max(0, math.ceil(share * columns)))


def levels_of(channel: Channel) -> tuple[Level, ...]:
    """Limits of a curve as they stand now."""
    return tuple(Level(*limit) for limit in drawn_limits(channel))


@dataclass(frozen=True, slots=True)
class Past:
    """What the values were and are.

    Parameters
    ----------
    history : History
        What they were.
    newest : mapping of str to float
        What they are now, by key; NaN, or nothing, where that is not known.
    time : TimeShown
        What of it is shown.
    is_old : bool
        Whether the newest values are no longer those of now.
    """

    history: History
    newest: Mapping[str, float]
    time: TimeShown
    is_old: bool

    def trend(self, channel: Channel, columns: int) -> Trend:
        """A curve over the time shown; what is newer than what was remembered is filled with what is now."""
        trend = self.history.trend(channel.key, self.time.begin_s, self.time.end_s, columns)
        now = self.newest.get(channel.key, math.nan)
        at = self.time.remembered(columns, self.history)
        if not self.time.is_up_to_now or math.isnan(now) or not columns:
            return trend
        is_new = ~trend.known & (np.arange(columns) >= min(at, columns - 1))
        low, high, last = (np.where(is_new, now, part).astype(float) for part in (trend.low, trend.high, trend.last))
        last[-1], low[-1], high[-1] = now, min(low[-1], now), max(high[-1], now)
        return Trend(trend.begin_s, trend.end_s, low, high, last, trend.known | is_new)


def trend_graph(channel: Channel, past: Past, layout: Layout, rows: int, *, head: Line, name: str = "") -> list[Line]:
    """Exactly `rows` lines: `head`, the value in words with the `name` of whom it is of, and the graph."""
    trend = past.trend(channel, layout.cells)
    is_old = past.is_old and past.time.is_up_to_now
    width = sum(layout)
    words = (*head, *_words(channel, trend, is_old=is_old))
    told = apart(words, (Span(name, DIM),), width) if name and width >= _NAME_FROM_CELLS else crop(words, width)
    curve = Curve(trend.low, trend.high, trend.known, channel.unit, past.time.before(layout.cells))
    return [told, *graph(curve, _levels_then(channel, past, trend), layout, rows - 1, dim=is_old)][: max(0, rows)]


def _levels_then(channel: Channel, past: Past, trend: Trend) -> list[Level]:
    """Limits as they stand now; of the set point what it was at each time, as far as that is known."""
    levels = list(levels_of(channel))
    set_key = set_key_of(channel)
    if set_key is None:
        return levels
    were = past.trend(replace(channel, key=set_key), len(trend.known))
    return [
        it._replace(value=were.last.astype(float)) if it.name == "set" and were.known.any() else it for it in levels
    ]


def _words(channel: Channel, trend: Trend, *, is_old: bool) -> list[Span]:
    """Title, newest value, and from where to where it went."""
    title = Span(f" {channel.title}", BOLD)
    if not trend.known.any():
        return [title, Span("  not known in this time", DIM)]
    value = value_words(channel.unit, float(trend.last[trend.known][-1]))
    is_newest = bool(trend.known[-1]) and not is_old
    return [
        title,
        Span(f"  {value}" if is_newest else f"  {value}?", PLAIN if is_newest else DIM),
        Span(_range(channel.unit, float(trend.low[trend.known].min()), float(trend.high[trend.known].max())), DIM),
    ]


def _range(unit: str, lowest: float, highest: float) -> str:
    """From where to where it went; of times left only the shortest counts."""
    low, high = (value_words(unit, value) for value in (lowest, highest))
    if low == high:
        return ""
    return (
        f"  lowest {low}"
        if unit == "s"
        else f"  from {low.removesuffix(f' {unit}')} to {high.removesuffix(f' {unit}')}"
    )
