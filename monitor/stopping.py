"""Signals that end a watch: Ctrl-C, a service manager's SIGTERM, a closed terminal's SIGHUP."""

import asyncio
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final

BY_OWNER: Final = "ended by the owner"

REASONS: Final = {
    signal.SIGINT: BY_OWNER,
    signal.SIGTERM: "ended by SIGTERM",
    signal.SIGHUP: "ended by SIGHUP: its terminal went away",
}


@contextmanager
def ending_signals(stop: Callable[[str], None]) -> Iterator[None]:
    """Call `stop` with the reason at the first signal; the same again acts as usual, should ending take too long.

    SIGHUP is ignored from its first time on, or from the end of the watch, for good: a closing terminal may send
    several, and nobody means any of them to cut short the end of the watch or its summary.

    A signal that was ignored when the program started stays ignored: that is how `nohup` and a shell's background
    jobs ask for it. Must be entered in a running event loop of the main thread.
    """
    loop = asyncio.get_running_loop()
    heeded = [number for number in REASONS if signal.getsignal(number) is not signal.SIG_IGN]

    def end(number: signal.Signals) -> None:
        loop.remove_signal_handler(number)
        if number == signal.SIGHUP:
            signal.signal(number, signal.SIG_IGN)
        stop(REASONS[number])

    for number in heeded:
        loop.add_signal_handler(number, end, number)
    try:
        yield
    finally:
        for number in heeded:
            loop.remove_signal_handler(number)
            if number == signal.SIGHUP:
                signal.signal(number, signal.SIG_IGN)
