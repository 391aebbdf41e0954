"""The library's way to talk to a terminal, begun once and ended once whatever signals come.

Knows nothing of what is shown. The library takes SIGCONT for 'we come back from a stop'. Others send it too: a terminal
that closes sends SIGHUP and SIGCONT. Begun a second time, or after the end, it would leave a thread that nobody ends,
which spins on the closed terminal and keeps the process.
"""

import asyncio
from contextlib import suppress
from io import TextIOWrapper
from typing import Any, TextIO, cast

from textual.app import App
from textual.drivers.linux_driver import LinuxDriver


class TerminalDriver(LinuxDriver):
    """Comes back only from a stop, and only while its app wants it.

    Signal handlers run between any two steps of the main thread, so what a handler may find half done is kept in two
    plain flags, and coming back is left to the loop.
    """

    def __init__(
        self, app: App[Any], *, debug: bool = False, mouse: bool = True, size: tuple[int, int] | None = None
    ) -> None:
        self._is_on = self._is_wanted = False
        super().__init__(app, debug=debug, mouse=mouse, size=size)
        if self._file is not None:
            self._file = cast("TextIOWrapper", _Picture(self._file))

    def start_application_mode(self) -> None:
        """Begin, if the terminal lets us: in the background it stops us first, and is taken on coming back."""
        self._is_wanted = True
        self._writer_thread = None
        super().start_application_mode()  # type: ignore[no-untyped-call] # the library's
        self._is_on = self._writer_thread is not None

    def stop_application_mode(self) -> None:
        """End it, once."""
        was_on, self._is_on = self._is_on, False  # first: from here on a stop has nothing to put back
        self._is_wanted = False
        if was_on:
            super().stop_application_mode()

    def suspend_application_mode(self) -> None:
        """Put the terminal back for a stop."""
        if self._is_on:
            super().suspend_application_mode()
            self._is_wanted = True

    def resume_application_mode(self) -> None:
        """Have the loop begin again after a stop."""
        with suppress(RuntimeError):  # a loop that is closed: nobody wants a terminal any more
            asyncio.get_running_loop().call_soon_threadsafe(self._come_back)

    def _come_back(self) -> None:
        if self._is_wanted and not self._is_on:
            self.start_application_mode()

    def write(self, data: str) -> None:
        """Hand text to the terminal, if there is one."""
        if self._writer_thread is not None:
            super().write(data)


class _Picture:
    """Where the picture goes; takes everything once the terminal is gone.

    The library's writing thread would end at the first error, and whoever writes would wait for it for ever.
    """

    def __init__(self, file: TextIO) -> None:
        self._file = file

    def write(self, text: str) -> None:
        with suppress(OSError):
            self._file.write(text)

    def flush(self) -> None:
        with suppress(OSError):
            self._file.flush()

    def fileno(self) -> int:
        return self._file.fileno()
