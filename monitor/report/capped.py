"""A list that keeps only so much: a recording may come from anywhere, and a report must not run out of memory."""

from typing import Generic, TypeVar

T = TypeVar("T")


class Capped(Generic[T]):
    """The first `most` things added; how many more there were is counted."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: list[T] = []
        self.dropped = 0

    def add(self, thing: T) -> None:
        """Keep it, or count it."""
        if len(self._kept) < self._most:
            self._kept.append(thing)
        else:
            self.dropped += 1

    @property
    def kept(self) -> tuple[T, ...]:
        """What was kept, in order."""
        return tuple(self._kept)
