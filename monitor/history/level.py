"""One resolution of a history: buckets of time in a ring, each with the lowest, the highest and the last value.

Owns the arrays. Rows are curves, named by whoever uses it. NaN is a bucket without any value that counts. What belongs
to one bucket lies together, because far more is written than read.
"""

import math
from typing import Final, NamedTuple

import numpy as np

from monitor.core.assessment import Array
from monitor.history.trend import Floats

_KINDS: Final = 3
_LOW, _HIGH, _LAST = range(_KINDS)
_FARTHEST: Final = 2.0**52


class Size(NamedTuple):
    """How wide the buckets of a level are, and how many it keeps."""

    width_s: float
    buckets: int


class Level:
    """A ring of buckets. Bucket number n holds what came from n widths on until n + 1 widths [of machine time].

    Parameters
    ----------
    size : Size
        Width and number of the buckets.
    """

    def __init__(self, size: Size) -> None:
        self.size = size
        self.first: int | None = None
        """Oldest bucket that is kept and was ever written to; None before the first."""
        self.newest = -1
        self._kept = _blank(0, size.buckets)

    @property
    def bytes(self) -> int:
        """What the arrays take."""
        return self._kept.nbytes

    def widen(self, rows: int) -> None:
        """Make room for so many curves."""
        missing = rows - self._kept.shape[2]
        if missing > 0:
            self._kept = np.concatenate([self._kept, _blank(missing, self.size.buckets)], axis=2)

    def bucket(self, time_s: float) -> int:
        """The bucket that a time falls in."""
        return math.floor(time_s / self.size.width_s)

    def take(self, time_s: float, values: Floats) -> None:
        """Take in one value of every curve; what is older than the ring is left out."""
        bucket = self.bucket(time_s)
        self._reach(bucket)
        if bucket <= self.newest - self.size.buckets:
            return
        low, high, last = self._kept[bucket % self.size.buckets]
        np.fmin(low, values, out=low)
        np.fmax(high, values, out=high)
        np.copyto(last, values, where=values == values)  # noqa: PLR0124 -- all but NaN, in one pass

    def hold(self, before_s: float, time_s: float, values: Floats) -> None:
        """Hold these values from one time to another in the buckets that have none."""
        end = self.bucket(time_s)
        self._reach(end)
        begin = max(self.bucket(before_s) + 1, self.newest - self.size.buckets + 1)
        if begin >= end:
            return
        places = np.arange(begin, end) % self.size.buckets
        held = self._kept[places]
        self._kept[places] = np.where(np.isnan(held), values, held)

    def run(self, rows: list[int], first: int, count: int) -> Floats:
        """Low, high and last of some curves in a run of buckets, (buckets, kinds, rows); NaN where none is kept."""
        numbers = np.arange(first, first + count)
        found = self._kept[np.ix_(numbers % self.size.buckets, np.arange(_KINDS), np.array(rows, np.intp))]
        found[(numbers > self.newest) | (numbers <= self.newest - self.size.buckets)] = np.nan
        return found

    def merge(self, rows: list[int], first: int, past: Floats) -> None:
        """Take in a run of buckets of another history; where both know a last value, the own one is the later."""
        end = first + len(past)
        self._reach(end - 1)
        begin = max(first, self.newest - self.size.buckets + 1)
        if begin >= end:
            return
        self._reach(begin)
        past = past[begin - first :]
        cells = np.ix_(np.arange(begin, end) % self.size.buckets, np.arange(_KINDS), np.array(rows, np.intp))
        own = self._kept[cells]
        np.fmin(own[:, _LOW], past[:, _LOW], out=own[:, _LOW])
        np.fmax(own[:, _HIGH], past[:, _HIGH], out=own[:, _HIGH])
        np.copyto(own[:, _LAST], past[:, _LAST], where=np.isnan(own[:, _LAST]))
        self._kept[cells] = own

    def columns(self, row: int, edges_s: Array) -> tuple[Floats, Floats, Floats]:
        """Low, high and last of one curve in the columns between these edges; a column has all buckets it touches."""
        oldest = self.newest - self.size.buckets + 1 if self.first is None else self.first
        edges = np.clip(edges_s / self.size.width_s, max(oldest - 2.0, -_FARTHEST), self.newest + 2.0)
        begins = np.floor(edges[:-1]).astype(np.int64)
        lasts = np.maximum(begins, np.ceil(edges[1:]).astype(np.int64) - 1)
        base = int(begins[0])
        run = self.run([row], base, int(lasts[-1]) - base + 2)[:, :, 0].T  # one more: an end may lie behind the last
        begins, lasts = begins - base, lasts - base
        pairs = np.stack([begins, lasts + 1], axis=1).ravel()
        low = np.fmin.reduceat(run[_LOW], pairs)[::2]
        high = np.fmax.reduceat(run[_HIGH], pairs)[::2]
        return low, high, _last_in(run[_LAST], begins, lasts)

    def _reach(self, bucket: int) -> None:
        """Let the ring reach from or to a bucket, as far as it can; what it comes to hold anew is empty."""
        if self.first is None:
            self.first, self.newest = bucket, bucket
        elif bucket > self.newest:
            begin = max(self.newest + 1, bucket - self.size.buckets + 1)
            self._kept[np.arange(begin, bucket + 1) % self.size.buckets] = np.nan
            self.newest = bucket
        self.first = max(min(self.first, bucket), self.newest - self.size.buckets + 1)


def _blank(rows: int, buckets: int) -> Floats:
    return np.full((buckets, _KINDS, rows), np.nan, dtype=np.float32)


def _last_in(values: Floats, begins: np.ndarray, lasts: np.ndarray) -> Floats:
    """The last value in each column that is one."""
    known = np.where(np.isnan(values), -1, np.arange(len(values)))
    newest = np.maximum.accumulate(known)[lasts]
    return np.where(newest >= begins, values[np.maximum(newest, 0)], np.float32(np.nan))
