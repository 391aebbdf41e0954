"""An address as a picture for a telephone's camera (QR code, ISO/IEC 18004), in half blocks of a terminal. Pure."""

from collections.abc import Sequence
from typing import Final

import segno

_QUIET: Final = 4
"""Light modules all around (ISO/IEC 18004, section 6.3.8)."""

_DARK_ON_LIGHT: Final = "\x1b[30;107m"
_PLAIN: Final = "\x1b[0m"
_BLOCKS: Final = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


def code_lines(text: str) -> list[str]:
    """The picture: black on white whatever the terminal's own colours are, since few cameras read it reversed."""
    rows = _framed([[bool(module) for module in row] for row in segno.make_qr(text, error="l").matrix])
    pairs = zip(rows[::2], [*rows[1::2], [False] * len(rows[0])], strict=False)
    return [f"{_DARK_ON_LIGHT}{_line(upper, lower)}{_PLAIN}" for upper, lower in pairs]


def _line(upper: Sequence[bool], lower: Sequence[bool]) -> str:
    return "".join(_BLOCKS[pair] for pair in zip(upper, lower, strict=True))


def _framed(rows: Sequence[Sequence[bool]]) -> list[list[bool]]:
    side = [False] * _QUIET
    wide = [False] * (len(rows) + 2 * _QUIET)
    return [*[wide] * _QUIET, *([*side, *row, *side] for row in rows), *[wide] * _QUIET]
