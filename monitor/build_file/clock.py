"""Planned time along the file: when each line's turn comes.

Owns the clock and what waits for its time: marks, set points, pauses. Knows nothing of feed.
"""

from collections import deque
from typing import Final, TypeVar

import numpy as np

from monitor.build_file.look_ahead import Timed
from monitor.build_file.schedule import Marks, Pause, SetPoint
from monitor.build_file.words import Floats, Ints

LINES_PER_MARK: Final = 1000

Event = TypeVar("Event", SetPoint, Pause)


class Clock:
    """Times of lines, in their order."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self.set_points: list[SetPoint] = []
        self.pauses: list[Pause] = []
        self._waiting: deque[SetPoint | Pause] = deque()
        self._marks: deque[tuple[int, int]] = deque([(0, 0)])
        self._timed: list[tuple[int, int, float]] = []

    def expect(self, events: list[SetPoint | Pause]) -> None:
        """Take events that get their times later; in the order of their lines."""
        self._waiting.extend(events)

    def mark(self, first_line: int, start_byte: int, line_ends: Ints) -> None:
        """Take the marks of a block."""
        skip = -first_line % LINES_PER_MARK
        for place in range(skip or LINES_PER_MARK, len(line_ends), LINES_PER_MARK):
            self._marks.append((first_line + place, start_byte + int(line_ends[place - 1]) + 1))
        if skip == 0 and first_line:
            self._marks.append((first_line, start_byte))

    def run(self, timed: Timed) -> Floats:
        """Let moves pass; returns the times between them, from before the first to after the last [s]."""
        edges = np.concatenate([[self.now_s], timed.time_s])
        np.cumsum(edges, out=edges)
        lines = timed.moves.line
        last = int(lines[-1])
        self._time_events(last, lines, edges)
        self._time_marks(last, lines, edges)
        self.now_s = float(edges[-1])
        return edges

    def _time_events(self, last: int, lines: Ints, edges: Floats) -> None:
        due: list[SetPoint | Pause] = []
        while self._waiting and self._waiting[0].line - 1 <= last:
            due.append(self._waiting.popleft())
        if due:
            places = np.searchsorted(lines, [event.line - 1 for event in due], side="left")
            for event, time_s in zip(due, edges[places].tolist(), strict=True):
                self._put(event, time_s)

    def _time_marks(self, last: int, lines: Ints, edges: Floats) -> None:
        due: list[tuple[int, int]] = []
        while self._marks and self._marks[0][0] <= last:
            due.append(self._marks.popleft())
        if due:
            times = edges[np.searchsorted(lines, [line for line, _ in due], side="left")].tolist()
            self._timed += [(line, byte, time_s) for (line, byte), time_s in zip(due, times, strict=True)]

    def _put(self, event: SetPoint | Pause, time_s: float) -> None:
        if isinstance(event, SetPoint):
            self.set_points.append(event._replace(time_s=time_s))
        else:
            self.pauses.append(event._replace(time_s=time_s))

    def finish(self, lines: int, size: int) -> Marks:
        """Give everything that still waits the time of the end."""
        while self._waiting:
            self._put(self._waiting.popleft(), self.now_s)
        rows = [*self._timed, *((line, byte, self.now_s) for line, byte in self._marks), (lines, size, self.now_s)]
        line = np.array([row[0] for row in rows], np.int64)
        byte = np.array([row[1] for row in rows], np.int64)
        time_s = np.array([row[2] for row in rows])
        for column in (line, byte, time_s):
            column.flags.writeable = False
        return Marks(line, byte, time_s)
