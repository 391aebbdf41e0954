"""Ends a screen cleanly when it is told to, and when its terminal is gone.

Two things happen to an overnight screen: somebody ends it by signal, or its terminal goes away, with or without a
signal. In both the screen must close, put the terminal back if there is one, and not spin on a dead one.
"""

import os
import select
import signal
import stat
import termios
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from types import FrameType
from typing import Final

_ENDING: Final = (signal.SIGTERM, signal.SIGHUP, signal.SIGINT)
_PAUSING: Final = (signal.SIGTSTP, signal.SIGCONT)
_GONE: Final = select.POLLHUP | select.POLLERR | select.POLLNVAL


@contextmanager
def ending_signals(end: Callable[[], None]) -> Iterator[None]:
    """Call `end` on SIGTERM, SIGHUP and SIGINT, and put the handlers that were there before back at the end.

    Those of SIGTSTP and SIGCONT, which the screen's library sets and leaves behind, are put back as well.

    `end` runs in the main thread between two steps of its program, so it should only leave word, as
    `loop.call_soon_threadsafe` does.
    """

    def told(_number: int, _frame: FrameType | None) -> None:
        end()

    before = {number: signal.getsignal(number) for number in _PAUSING}
    before |= {number: signal.signal(number, told) for number in _ENDING}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


class TerminalWatch:
    """Notices that a terminal has gone away, or takes nothing more.

    A closed pseudo-terminal or a lost line hangs up at once. A line that stalls does not: its buffers fill, and
    whoever goes on writing waits, with everything else that shares the thread.

    Parameters
    ----------
    keys, picture : int
        File descriptors that keys come from and the picture goes to.
    """

    def __init__(self, keys: int, picture: int) -> None:
        self._picture = picture
        self._hung_up = select.poll()
        for descriptor in {keys, picture}:
            if stat.S_ISCHR(os.fstat(descriptor).st_mode):  # one that is gone already is no "tty" any more
                self._hung_up.register(descriptor, 0)
        self._writable = select.poll()
        self._writable.register(picture, select.POLLOUT)

    @property
    def is_gone(self) -> bool:
        """True once the terminal has hung up."""
        return any(happened & _GONE for _, happened in self._hung_up.poll(0))

    @property
    def takes_output(self) -> bool:
        """False while what was written last still waits to be taken."""
        return bool(self._writable.poll(0))

    def drop_output(self) -> None:
        """Throw away what waits to be taken, so that nobody has to wait for a stalled line."""
        with suppress(termios.error, OSError):
            termios.tcflush(self._picture, termios.TCOFLUSH)
