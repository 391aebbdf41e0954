"""The course of a watch in bounded memory: a row a minute, fewer when it is long. Knows nothing of engines or alerts.

A row holds what was measured within it, lowest and highest, so that thinning loses no peak.
"""

from collections.abc import Sequence
from typing import Final, NamedTuple

from monitor.core.assessment import Activity

EVERY_S: Final = 60.0
MOST_ROWS: Final = 2880
"""Two days by the minute; of a longer watch each row covers twice, four times … as much."""


class WallPoint(NamedTuple):
    """One sensor within a row: lowest, highest and last temperature, and its heater's set point and duty."""

    low_c: float
    high_c: float
    last_c: float
    set_c: float | None
    duty: float | None


class StrandPoint(NamedTuple):
    """One strand at the end of a row; the travels and flags count from the beginning of the watch."""

    activity: Activity
    idle_s: float
    dose_share: float  # of its limit [-]
    softening_share: float
    merge_wall_c: float
    commanded_mm: float  # net feed
    sensed_mm: float | None  # net feed by the encoder; None where none has reported
    commanded_travel_mm: float  # both ways
    sensed_travel_mm: float
    flags: int | None  # samples in which the driver reported a stall; None where it reports none


class Row(NamedTuple):
    """What is known of one minute, or more. A wall is None where nothing was reported."""

    time_s: float
    is_fresh: bool  # whether any sample came
    walls: tuple[WallPoint | None, ...]
    strands: tuple[StrandPoint, ...]


class Rows:
    """Takes rows in order of time and keeps at most `most`, each covering `every_s` [s] at least."""

    def __init__(self, every_s: float = EVERY_S, most: int = MOST_ROWS) -> None:
        self.every_s = every_s
        self._most = most
        self._rows: list[Row] = []

    def add(self, row: Row) -> None:
        """Take in one more; when there are too many, every two neighbours become one."""
        self._rows.append(row)
        if len(self._rows) > self._most:
            self._thin()

    @property
    def rows(self) -> tuple[Row, ...]:
        """All kept, oldest first."""
        return tuple(self._rows)

    def _thin(self) -> None:
        rows, self._rows = self._rows, []
        self.every_s *= 2.0
        for first, second in zip(rows[::2], rows[1::2], strict=False):
            is_close = second.time_s - first.time_s <= self.every_s
            self._rows += [joined(first, second)] if is_close else [first, second]
        if len(rows) % 2:
            self._rows.append(rows[-1])
        if len(self._rows) > self._most:  # nothing but jumps of time: honest recordings have no such number
            self._rows = self._rows[::2]


def joined(first: Row, second: Row) -> Row:
    """One row for two neighbours."""
    walls = tuple(_joined_wall(a, b) for a, b in zip(first.walls, second.walls, strict=True))
    return Row(second.time_s, first.is_fresh or second.is_fresh, walls, second.strands)


def _joined_wall(first: WallPoint | None, second: WallPoint | None) -> WallPoint | None:
    if first is None or second is None:
        return first or second
    return second._replace(low_c=min(first.low_c, second.low_c), high_c=max(first.high_c, second.high_c))


def is_gap(before: Row, after: Row, every_s: float) -> bool:
    """Whether nothing is known of the time between two rows, so that no line may be drawn through it."""
    return not after.is_fresh or after.time_s - before.time_s > 2.5 * every_s


def between(rows: Sequence[Row], from_s: float, until_s: float) -> list[Row]:
    """The rows of a stretch of time, its ends included."""
    return [row for row in rows if from_s <= row.time_s <= until_s]
