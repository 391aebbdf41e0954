"""A watch's past in bounded memory: fine for the last hour, coarser for longer, until it falls out.

Owns what counts as a gap. Is fed moments in order of time, asked for trends, and handed on in pieces. Knows nothing of
clocks, sessions or screens.

Notes
-----
What is not known stays a gap: values that are stale (NaN, see `channels.py`), and times in which nothing was taken at
all. A hole between two moments is none while it is short, or as the moments have come so far, and both ends are known;
then the former value is held.
"""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from monitor.history.channels import readings_of
from monitor.history.level import Level, Size
from monitor.history.seen import Seen
from monitor.history.slip import SlipMeter
from monitor.history.trend import Floats, Trend, trend_of

SIZES: Final = (Size(4.0, 960), Size(30.0, 1500), Size(240.0, 1500))
"""Levels, finest first: a little more than an hour, half a day, four days."""

HELD_S: Final = 75.0
"""A hole up to this long is none [s]: recorded summaries are a minute apart. What falls silent becomes stale before."""

MOST_CHANNELS: Final = 256
"""So many curves are kept; a machine of six inputs has some sixty."""

PIECE_BUCKETS: Final = 256

_DTYPE: Final = np.dtype("<f4")
_KINDS: Final = 3
_MOST: Final = 2**52


@dataclass(frozen=True, slots=True)
class Piece:
    """A part of a history, in plain numbers and bytes: a run of buckets of one level.

    Parameters
    ----------
    keys : tuple of str
        The curves.
    width_s : float
        Width of the level's buckets [s].
    first : int
        Number of the first bucket.
    values : bytes
        Bucket by bucket the lows, the highs and the last values of all curves (float32, low byte first); NaN where
        there is none.
    begin_s, end_s : float
        Oldest and newest moment of the whole history [s].
    """

    keys: tuple[str, ...]
    width_s: float
    first: int
    values: bytes
    begin_s: float
    end_s: float


class History:
    """What the values of a watch were.

    Parameters
    ----------
    sizes : sequence of Size
        Levels, finest first.
    """

    def __init__(self, sizes: Sequence[Size] = SIZES) -> None:
        self._levels = [Level(size) for size in sizes]
        self._rows: dict[str, int] = {}
        self._slip = SlipMeter()
        self._begin_s = self._end_s = math.nan
        self._taken_s, self._spacing_s = -math.inf, 0.0
        self._newest: Floats = np.empty(0, np.float32)

    @property
    def keys(self) -> tuple[str, ...]:
        """The curves that were ever known (`monitor.history.channels`)."""
        return tuple(self._rows)

    @property
    def span(self) -> tuple[float, float] | None:
        """Times of the oldest and of the newest moment that is remembered [s]; None while nothing was ever known."""
        if math.isnan(self._begin_s):
            return None
        return max(self._begin_s, min(map(_begin_s, self._levels))), self._end_s

    @property
    def bytes(self) -> int:
        """What the arrays take."""
        return sum(level.bytes for level in self._levels)

    def take(self, seen: Seen) -> None:
        """Take in a moment; one that is older than the newest is left out."""
        if seen.time_s >= self._taken_s:
            self.take_readings(seen.time_s, {**readings_of(seen), **dict(self._slip.take(seen))})

    def take_readings(self, time_s: float, readings: Mapping[str, float]) -> None:
        """Take in values by key; NaN, or a key that is missing, is not known."""
        if not (abs(time_s) < _MOST and time_s >= self._taken_s):  # neither the past nor NaN
            return
        values = self._values(readings)
        hole_s = time_s - self._taken_s
        if self._newest.size and hole_s <= max(HELD_S, 2.0 * self._spacing_s):
            self._hold(time_s, values)
        if self._rows:
            for level in self._levels:
                level.take(time_s, values)
            self._remember(time_s, time_s)
        if 0.0 < hole_s < math.inf:
            self._spacing_s = hole_s
        self._taken_s, self._newest = time_s, values

    def trend(self, key: str, begin_s: float, end_s: float, columns: int) -> Trend:
        """A curve over a span of time, from the finest level that still has its beginning.

        Nothing is lost: each column has every value that came in it, and at its edges perhaps its neighbour's. What is
        not known, a key that never was among it, is a column where `known` is False.
        """
        blank = np.full(max(0, columns), np.nan, np.float32)
        row = self._rows.get(key)
        if row is None or not len(blank) or not (abs(begin_s) < _MOST and begin_s <= end_s < _MOST):
            return trend_of(begin_s, end_s, blank, blank.copy(), blank.copy())
        edges_s = np.linspace(begin_s, end_s, columns + 1)
        return trend_of(begin_s, end_s, *self._level(begin_s).columns(row, edges_s))

    def pieces(self) -> Iterator[Piece]:
        """Everything piece by piece, each made when it is asked for: coarse levels first, and the newest of each."""
        for level in reversed(self._levels if self._rows else ()):
            first, end = level.first, level.newest + 1
            while first is not None and end > first:
                begin = max(first, end - PIECE_BUCKETS)
                yield self._piece(level, begin, end - begin)
                end = begin

    def add_past(self, piece: Piece) -> None:
        """Take in a piece of another history of the same watch, in any order; ValueError where it is none."""
        level = next((level for level in self._levels if level.size.width_s == piece.width_s), None)
        rows, count = len(piece.keys), len(piece.values) // max(1, _KINDS * _DTYPE.itemsize * len(piece.keys))
        if level is None or not 0 < rows <= MOST_CHANNELS or len(set(piece.keys)) < rows:
            raise ValueError(f"a piece of {rows} curves with buckets of {piece.width_s} s has no place here")
        if len(piece.values) != _KINDS * _DTYPE.itemsize * rows * count or not 0 < count <= level.size.buckets:
            raise ValueError(f"{len(piece.values)} bytes are no run of buckets of {rows} curves")
        if not (abs(piece.first) < _MOST and abs(piece.begin_s) < _MOST and abs(piece.end_s) < _MOST):
            raise ValueError("a piece of no time that ever was")
        past = np.frombuffer(piece.values, _DTYPE).reshape(count, _KINDS, rows)
        self._make_rows(piece.keys)
        known = [at for at, key in enumerate(piece.keys) if key in self._rows]
        level.merge([self._rows[piece.keys[at]] for at in known], piece.first, past[:, :, known])
        self._remember(piece.begin_s, piece.end_s)

    def _piece(self, level: Level, first: int, count: int) -> Piece:
        values = level.run(list(self._rows.values()), first, count).astype(_DTYPE, copy=False).tobytes()
        return Piece(self.keys, level.size.width_s, first, values, self._begin_s, self._end_s)

    def _level(self, begin_s: float) -> Level:
        """The finest level that has all from this time on, as far as any has."""
        wanted_s = max(begin_s, self._begin_s)
        return next((level for level in self._levels if _begin_s(level) <= wanted_s), self._levels[-1])

    def _values(self, readings: Mapping[str, float]) -> Floats:
        """A value for every row."""
        new = readings.keys() - self._rows.keys()
        if new:
            self._make_rows(key for key in readings if key in new and not math.isnan(readings[key]))
        with np.errstate(over="ignore"):
            return np.array([readings.get(key, math.nan) for key in self._rows], np.float32)

    def _make_rows(self, keys: Iterable[str]) -> None:
        """Make a row for every new curve, as long as there is room."""
        for key in keys:
            if len(self._rows) < MOST_CHANNELS:
                self._rows.setdefault(key, len(self._rows))
        for level in self._levels:
            level.widen(len(self._rows))

    def _hold(self, time_s: float, values: Floats) -> None:
        former = np.full(len(values), np.nan, np.float32)
        former[: len(self._newest)] = self._newest
        former[np.isnan(values)] = np.nan
        for level in self._levels:
            level.hold(self._taken_s, time_s, former)

    def _remember(self, begin_s: float, end_s: float) -> None:
        self._begin_s = begin_s if math.isnan(self._begin_s) else min(begin_s, self._begin_s)
        self._end_s = end_s if math.isnan(self._end_s) else max(end_s, self._end_s)


def _begin_s(level: Level) -> float:
    """Since when a level has all there is [s]."""
    return math.inf if level.first is None else level.first * level.size.width_s
