"""Standard output of a watch without a screen: one line at a time, each out at once.

A watch must not die because a log file's disk is full, and must not go on for nobody when its reader went away. This
module tells the two apart.
"""

import errno
import os
import sys
from contextlib import suppress
from typing import Final, TextIO

READER_GONE: Final = frozenset({errno.EPIPE, errno.EIO, errno.EBADF, errno.ENXIO})
"""A closed pipe, a vanished terminal, a closed descriptor."""


class Output:
    """Writes lines to `out` and messages to `err`; either may be None, as when started with it closed."""

    def __init__(self, out: TextIO | None, err: TextIO | None) -> None:
        self._out, self._err = out, err
        self._has_complained = False

    def line(self, text: str) -> None:
        """Write one line.

        Raises
        ------
        BrokenPipeError
            When nobody can read it any more. Other failures are told once, as a message.
        """
        if self._out is None:
            return
        try:
            self._out.write(text + "\n")
            self._out.flush()
        except OSError as error:
            if error.errno in READER_GONE:
                raise BrokenPipeError(errno.EPIPE, "the output went away") from None
            if not self._has_complained:
                self._has_complained = True
                self.message(f"standard output cannot be written: {error.strerror}. Lines are lost; the watch goes on.")

    def message(self, text: str) -> None:
        """Write one line for the owner beside the output; lost in silence when it cannot be written."""
        if self._err is not None:
            with suppress(OSError, ValueError):
                self._err.write(f"strandwatch: {text}\n")
                self._err.flush()


def prepare_streams() -> None:
    """Let a character that the locale lacks come out as '?' or an escape instead of ending the watch."""
    for stream, how in ((sys.stdout, "replace"), (sys.stderr, "backslashreplace")):
        if stream is not None and hasattr(stream, "reconfigure"):
            stream.reconfigure(errors=how)


def speak_utf8() -> None:
    """Have standard output speak UTF-8 whatever the locale says: that is what JSON is written in (RFC 8259, 8.1)."""
    if sys.stdout is not None and hasattr(sys.stdout, "reconfigure"):
        sys.stdout.reconfigure(encoding="utf-8")


def abandon_stdout() -> None:
    """Point standard output at nothing, so that Python's own last flush cannot complain about a reader gone."""
    if sys.stdout is None:
        return
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
