"""Feed of one input, gathered into rows as the build goes on.

Owns the high-water mark (what is drawn back and primed again is no new material), the rule for when one row ends and
the next begins, and the longest gap. Knows nothing of files, mixes or other inputs.
"""

from typing import Final

import numpy as np
import numpy.typing as npt

from monitor.build_file.schedule import InputPlan, Stretches
from monitor.build_file.words import Floats

MERGED_S: Final = 5.0
"""Gaps shorter than this do not end a row [s]; no strand ages or cools noticeably in them."""

LONGEST_ROW_S: Final = 60.0
"""A row ends with the minute of the clock, so that feed within a row is even enough [s]."""

LONG_RETRACTION_MM: Final = 10.0
"""Drawn back further than this, a strand leaves the melt: such moves get rows of their own [mm]."""

_GREW_MM: Final = 1e-9
_COLUMNS: Final = 4


class FeedLedger:
    """Takes the moves of one input in order of time."""

    def __init__(self, number: int) -> None:
        self._number = number
        self._fed_mm = self._high_mm = 0.0
        self._end_s = self._new_end_s = -np.inf
        self._is_back = False
        self._first_s = np.inf
        self._gap_s = self._gap_start_s = 0.0
        self._rows: list[Floats] = []
        self._open = np.empty((0, _COLUMNS))
        self._open_is_new = False

    def add(self, start_s: Floats, end_s: Floats, feed_mm: Floats) -> None:
        """Take some moves, each with some feed."""
        fed = self._fed_mm + np.cumsum(feed_mm)
        high = np.maximum(np.maximum.accumulate(fed), self._high_mm)
        new = np.diff(high, prepend=self._high_mm)
        is_new = new > _GREW_MM
        is_back = high - fed > LONG_RETRACTION_MM
        new_end = self._new_ends(end_s, is_new)
        self._measure_gaps(start_s, is_new, new_end)
        begins = start_s - np.concatenate([[self._end_s], end_s[:-1]]) > MERGED_S
        begins |= is_new & (start_s - new_end[:-1] > MERGED_S)
        begins |= is_back != np.concatenate([[self._is_back], is_back[:-1]])
        minutes = np.floor(start_s / LONGEST_ROW_S)
        begins[1:] |= minutes[1:] != minutes[:-1]
        begins[0] |= len(self._open) == 0 or minutes[0] != np.floor(self._open[0, 0] / LONGEST_ROW_S)
        self._keep(start_s, end_s, feed_mm, new, np.flatnonzero(begins))
        self._fed_mm, self._high_mm = float(fed[-1]), float(high[-1])
        self._end_s, self._new_end_s, self._is_back = float(end_s[-1]), float(new_end[-1]), bool(is_back[-1])

    def _new_ends(self, end_s: Floats, is_new: npt.NDArray[np.bool_]) -> Floats:
        """When the last new feed ended, before each move and after the last."""
        own = np.concatenate([[self._new_end_s], np.where(is_new, end_s, -np.inf)])
        return np.maximum.accumulate(own)

    def _measure_gaps(self, start_s: Floats, is_new: npt.NDArray[np.bool_], new_end: Floats) -> None:
        at = np.flatnonzero(is_new)
        if not at.size:
            return
        self._first_s = min(self._first_s, float(start_s[at[0]]))
        gaps = start_s[at] - new_end[at]
        gaps[np.isinf(gaps)] = 0.0
        longest = int(np.argmax(gaps))
        if gaps[longest] > self._gap_s:
            self._gap_s, self._gap_start_s = float(gaps[longest]), float(new_end[at[longest]])

    def _keep(
        self, start_s: Floats, end_s: Floats, feed_mm: Floats, new: Floats, begins: npt.NDArray[np.int64]
    ) -> None:
        """Add up what belongs together; the last row stays open."""
        edges = begins if begins.size and begins[0] == 0 else np.concatenate([[0], begins])
        is_new = new > _GREW_MM
        first_new = np.minimum.reduceat(np.where(is_new, start_s, np.inf), edges)
        last_new = np.maximum.reduceat(np.where(is_new, end_s, -np.inf), edges)
        has_new = np.isfinite(first_new)
        last = np.append(edges[1:], len(start_s)) - 1
        rows = np.stack(
            [
                np.where(has_new, first_new, start_s[edges]),
                np.where(has_new, last_new, end_s[last]),
                np.add.reduceat(feed_mm, edges),
                np.add.reduceat(new, edges),
            ],
            axis=1,
        )
        if not (begins.size and begins[0] == 0):
            rows[0] = self._joined(rows[0], is_new=bool(has_new[0]))
            has_new[0] |= self._open_is_new
        elif len(self._open):
            self._rows.append(self._open)
        self._rows.append(rows[:-1])
        self._open, self._open_is_new = rows[-1:], bool(has_new[-1])

    def _joined(self, row: Floats, *, is_new: bool) -> Floats:
        own = self._open[0]
        start_s = own[0] if self._open_is_new or not is_new else row[0]
        end_s = row[1] if is_new or not self._open_is_new else own[1]
        return np.array([start_s, end_s, own[2] + row[2], own[3] + row[3]])

    def plan(self) -> InputPlan:
        """Everything taken so far."""
        rows = np.concatenate([*self._rows, self._open])
        columns = [np.ascontiguousarray(column) for column in rows.T]
        for column in columns:
            column.flags.writeable = False
        last_s = self._new_end_s if np.isfinite(self._new_end_s) else 0.0
        first_s = self._first_s if np.isfinite(self._first_s) else 0.0
        return InputPlan(
            self._number,
            Stretches(*columns),
            self._fed_mm,
            self._high_mm,
            first_s,
            last_s,
            self._gap_s,
            self._gap_start_s,
        )
