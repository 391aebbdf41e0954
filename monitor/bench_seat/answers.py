"""The owner's answers on the standard input: lines of a terminal while something is asked, or of a pipe or file.

Owns reading without blocking, and which lines count. A line typed at a terminal while nothing is asked is dropped;
lines of a pipe or file wait for their questions, so that a script can answer.
"""

import asyncio
import os
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final, TextIO

_MOST_BYTES: Final = 4096


class Answers:
    """Lines of one stream; None for no stream at all."""

    def __init__(self, stream: TextIO | None) -> None:
        self._descriptor = _descriptor(stream)
        self.has_ended = self._descriptor < 0
        self.is_terminal = not self.has_ended and os.isatty(self._descriptor)
        self._lines: deque[str] = deque()
        self._rest = b""

    @contextmanager
    def listening(self, heard: Callable[[], None]) -> Iterator[None]:
        """Read as lines come, and call `heard` after each reading; in a running event loop."""
        loop = asyncio.get_running_loop()

        def read() -> None:
            self._read()
            if self.has_ended:
                loop.remove_reader(self._descriptor)
            heard()

        try:
            if not self.has_ended:
                loop.add_reader(self._descriptor, read)
        except PermissionError:  # a plain file cannot be waited for, and need not
            self._read_all()
        try:
            yield
        finally:
            if self._descriptor >= 0:
                loop.remove_reader(self._descriptor)

    def pop(self) -> str | None:
        """The next line, in small letters; None where none waits."""
        return self._lines.popleft() if self._lines else None

    def drop(self) -> None:
        """Forget the lines that wait."""
        self._lines.clear()

    def wait(self) -> str | None:
        """The next line, waited for; None when the stream has ended."""
        while not self._lines and not self.has_ended:
            self._read()
        return self.pop()

    def _read_all(self) -> None:
        while not self.has_ended:
            self._read()

    def _read(self) -> None:
        try:
            data = os.read(self._descriptor, _MOST_BYTES)
        except OSError:
            data = b""
        self.has_ended = not data
        *lines, self._rest = (self._rest + data).split(b"\n")
        if self.has_ended and self._rest:
            lines.append(self._rest)
        self._lines += [line.decode("utf-8", "replace").strip().casefold() for line in lines]


def _descriptor(stream: TextIO | None) -> int:
    """Of a stream that can be read by the system; -1 where there is none."""
    try:
        return -1 if stream is None else stream.fileno()
    except (OSError, ValueError):  # closed, or no file at all
        return -1
