"""What the terminal and the owner's environment allow: a screen at all, colour, more than ASCII.

Reads the environment and the standard streams; imports nothing of the screen, so that asking costs nothing.
"""

import codecs
import locale
import os
import sys
from collections.abc import Mapping
from typing import TextIO


def can_show_screen() -> bool:
    """Whether both ends of a terminal are there: keys come in on stdin, the picture goes out on stderr."""
    return os.environ.get("TERM") != "dumb" and all(_is_terminal(stream) for stream in (sys.__stdin__, sys.__stderr__))


def colour_wanted(environ: Mapping[str, str]) -> bool:
    """False when NO_COLOR is set and not empty (no-color.org: whatever its value), or the terminal is dumb."""
    return not environ.get("NO_COLOR") and environ.get("TERM") != "dumb"


def ascii_needed(encoding: str | None = None) -> bool:
    """Whether the locale cannot show more than ASCII. `encoding` is the locale's when not given."""
    name = locale.getencoding() if encoding is None else encoding
    try:
        return codecs.lookup(name).name != "utf-8"
    except LookupError:
        return True


def _is_terminal(stream: TextIO | None) -> bool:
    return stream is not None and not stream.closed and stream.isatty()
