"""A key on a terminal that says 'I have seen it', where there is no screen: Enter, a blank, or k as on the screen."""

import asyncio
import os
import termios
import tty
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Final, TextIO

_SEEN: Final = frozenset(b"kK \r\n")


def can_answer(stream: TextIO | None) -> bool:
    """Whether somebody may be at the keys of this stream."""
    return stream is not None and not stream.closed and stream.isatty()


@contextmanager
def seen_by_key(stream: TextIO) -> Iterator["asyncio.Future[bool]"]:
    """Give a future that holds True once such a key is pressed, and False when the terminal has gone away.

    Keys count at once, without Enter, and are not shown; interrupts act as usual. The terminal is put back at the end.
    """
    loop, keys = asyncio.get_running_loop(), stream.fileno()
    seen: asyncio.Future[bool] = loop.create_future()

    def read() -> None:
        answer = _answer(keys)
        if answer is not None:
            loop.remove_reader(keys)
            if not seen.done():
                seen.set_result(answer)

    before = termios.tcgetattr(keys)
    tty.setcbreak(keys, termios.TCSANOW)
    loop.add_reader(keys, read)
    try:
        yield seen
    finally:
        loop.remove_reader(keys)
        with suppress(termios.error):
            termios.tcsetattr(keys, termios.TCSANOW, before)


def _answer(keys: int) -> bool | None:
    """What was pressed says; None for a key that means nothing."""
    try:
        pressed = os.read(keys, 1024)
    except OSError:
        return False
    return False if not pressed else True if _SEEN & set(pressed) else None
