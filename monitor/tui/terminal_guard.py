"""Ends a screen cleanly when it is told to, and when its terminal is gone.

Two things happen to an overnight screen: somebody ends it by signal, or its terminal goes away, with or without a
signal. In both the screen must close, put the terminal back if there is one, and not spin on a dead one.
"""

import os
import select
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Final

_ENDING: Final = (signal.SIGTERM, signal.SIGHUP, signal.SIGINT)
_GONE: Final = select.POLLHUP | select.POLLERR | select.POLLNVAL


@contextmanager
def ending_signals(end: Callable[[], None]) -> Iterator[None]:
    """Call `end` on SIGTERM, SIGHUP and SIGINT, and put the handlers that were there before back at the end.

    `end` runs in the main thread between two steps of its program, so it should only leave word, as
    `loop.call_soon_threadsafe` does.
    """

    def told(_number: int, _frame: FrameType | None) -> None:
        end()

    before = {number: signal.signal(number, told) for number in _ENDING}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


class TerminalWatch:
    """Notices that the terminal at a file descriptor has gone away.

    Regular files and `/dev/null` never hang up; a closed pseudo-terminal or a lost line does, at once.
    """

    def __init__(self, descriptor: int) -> None:
        self._poll = select.poll()
        self._poll.register(descriptor, 0)
        self._is_terminal = os.isatty(descriptor)

    @property
    def is_gone(self) -> bool:
        """True once the terminal has hung up."""
        return self._is_terminal and any(happened & _GONE for _, happened in self._poll.poll(0))
