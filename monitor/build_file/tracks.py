"""Values that change now and then along a file, over the lines of a block.

Owns how such a value is told for many lines at once. Knows nothing of what the values mean.
"""

from bisect import bisect_right

import numpy as np

from monitor.build_file.words import Floats, Ints


class Track:
    """One value, from block to block."""

    __slots__ = ("_before", "_lines", "_values", "value")

    def __init__(self, value: float) -> None:
        self.value = value
        self._before = value
        self._lines: list[int] = []
        self._values: list[float] = []

    @property
    def changes(self) -> bool:
        """Whether it changes within the block."""
        return bool(self._lines)

    def begin(self) -> None:
        """Start a block: lines count from 0 again."""
        self._before = self.value
        self._lines.clear()
        self._values.clear()

    def set(self, line: int, value: float) -> None:
        """Change it, from this line on; lines come in order."""
        if value != self.value:
            self.value = value
            self._lines.append(line)
            self._values.append(value)

    def on(self, line: int) -> float:
        """The value on one line."""
        place = bisect_right(self._lines, line)
        return self._before if place == 0 else self._values[place - 1]

    def over(self, lines: Ints) -> Floats | float:
        """The value on each of some lines, which must be in order; one number if it is the same on all of them."""
        if not self._lines:
            return self._before
        starts = np.searchsorted(lines, self._lines, side="left")
        counts = np.diff(starts, prepend=0, append=len(lines))
        return np.repeat([self._before, *self._values], counts)
