"""A bar that says how far a long reading has come, on a terminal alone."""

import os
from contextlib import suppress
from typing import Final, TextIO

_CELLS: Final = 30


class ReadingBar:
    """Draws on `out` while it is a terminal; else says nothing.

    Parameters
    ----------
    out : TextIO or None
        Standard error.
    total : int
        What is to be read; 0 when that is not known.
    """

    def __init__(self, out: TextIO | None, total: int) -> None:
        shows = out is not None and out.isatty() and os.environ.get("TERM") != "dumb"
        self._out, self._total, self._shown = out if shows else None, total, ""

    def read(self, done: int) -> None:
        """So much is read."""
        share = min(1.0, done / self._total) if self._total else 0.0
        self._draw(f"reading [{'#' * round(share * _CELLS):{_CELLS}}] {share:4.0%}")

    def says(self, text: str) -> None:
        """Something else is done meanwhile."""
        self._draw(text)

    def gone(self) -> None:
        """Leave no trace."""
        self._draw("")

    def _draw(self, text: str) -> None:
        if self._out is not None and text != self._shown:
            with suppress(OSError):
                self._out.write(f"\r\x1b[2K{text}")
                self._out.flush()
            self._shown = text
