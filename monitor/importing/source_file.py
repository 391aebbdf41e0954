"""Opens a foreign file and hands out its lines, whole and bounded. Knows nothing of what they say."""

from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Final, NamedTuple

from connectors.clean_text import clean_text
from monitor.exit_codes import WrongUseError

LONGEST_LINE: Final = 1 << 20
"""A longer line is passed over and told [byte]."""

_UTF16: Final = (b"\xff\xfe", b"\xfe\xff")
_BOM: Final = b"\xef\xbb\xbf"
_PACKED: Final = {b"\x1f\x8b": "gzip -d", b"\x28\xb5": "zstd -d", b"PK": "unzip"}


class Line(NamedTuple):
    """One line without its end; `is_whole` is false where only its beginning is there, because it is too long."""

    number: int
    content: bytes
    is_whole: bool = True


def lines_of(path: Path) -> Iterator[Line]:
    """Lines of a file, numbered from 1.

    Raises
    ------
    WrongUseError
        When the file cannot be read, or is packed or in an encoding of two bytes.
    """
    name = clean_text(str(path), 500)
    try:
        with path.open("rb") as file:
            _check_beginning(file.read(4), name)
            file.seek(0)
            is_whole, number = True, 0
            for piece in iter(partial(file.readline, LONGEST_LINE), b""):
                if is_whole:  # a piece that goes on with a line too long is passed over
                    number += 1
                    content = piece.removeprefix(_BOM) if number == 1 else piece
                    yield Line(number, content.rstrip(b"\r\n"), len(piece) < LONGEST_LINE or piece.endswith(b"\n"))
                is_whole = piece.endswith(b"\n")
    except OSError as error:
        raise WrongUseError(f"{name} cannot be read: {error.strerror}. Check the name and its permissions.") from error


def _check_beginning(first: bytes, name: str) -> None:
    if first.startswith(_UTF16):
        raise WrongUseError(f"{name} is in UTF-16; save or convert it as UTF-8 first")
    for mark, how in _PACKED.items():
        if first.startswith(mark):
            raise WrongUseError(f"{name} is packed; unpack it first ({how})")
