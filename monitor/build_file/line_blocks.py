"""Cutting a stream of bytes into blocks of whole lines, with bounded memory, and refusing what is no text.

Owns line ends, lines too long to be read, and the signs of a binary, empty or cut file. Knows nothing of words.
"""

import re
from collections.abc import Iterable, Iterator
from typing import BinaryIO, Final, NamedTuple

import numpy as np
import numpy.typing as npt

from monitor.build_file.failure import BuildFileError

LONGEST_LINE: Final = 1 << 16
"""Bytes of a line beyond which it is left out, and told: no controller takes a hundredth of that."""

_MARK_OF_UTF8: Final = b"\xef\xbb\xbf"
_CONTROLS: Final = bytes(code for code in range(32) if code not in b"\t\n\v\f\r\x1a\x1b")
_HEAD: Final = 4096
_FEW: Final = 8  # controls in a head that may come from a bad cable
_CUT: Final = re.compile(rb"(?:[-+*]|[A-Za-z]\s*[-+]?\.?|^\s*[Nn]\s*\d+)\s*$")
_MAY_END_BARE: Final = re.compile(rb"[GgMm]\s*\d.*\s[A-Za-z]\s*$")
_MOVE: Final = re.compile(rb"^\s*(?:[Nn]\s*\d+\s*)?[Gg]\s*0*[0-3](?!\d)")


class Block(NamedTuple):
    """Some whole lines of the file.

    Parameters
    ----------
    text : bytes
        The lines, each ended by one newline.
    line_ends : array of int
        Places of the newlines in `text`.
    first_line : int
        Lines before this block.
    start_byte : int
        Bytes of the file before this block.
    is_too_long : bool
        The block stands for one line that was too long, and is empty in its place.
    is_unended : bool
        The file ended without a newline here; one was added.
    """

    text: bytes
    line_ends: npt.NDArray[np.int64]
    first_line: int
    start_byte: int
    is_too_long: bool = False
    is_unended: bool = False


def line_blocks(source: BinaryIO | Iterable[bytes], block_bytes: int) -> Iterator[Block]:
    """Cut what is read into blocks of whole lines.

    Raises
    ------
    BuildFileError
        When the file is empty, binary, holds NUL bytes, or ends in the middle of a word.
    """
    rest, line, start = b"", 0, 0
    dropped = 0  # bytes already thrown away of a line that is too long
    for data in _joined(source, block_bytes):
        text = rest + (data if start + dropped + len(rest) else _without_mark(data))
        _refuse_binary(text, line, start + dropped)
        cut = text.rfind(b"\n") + 1
        if dropped and cut:
            over = text.index(b"\n") + 1
            yield _stand_in(line, start)
            line, start, dropped, text, cut = line + 1, start + dropped + over, 0, text[over:], cut - over
        if cut:
            yield from _whole_lines(text[:cut], line, start)
            line, start = line + text.count(b"\n", 0, cut), start + cut
        rest = text[cut:]
        if dropped or len(rest) > LONGEST_LINE:
            dropped, rest = dropped + len(rest), b""
    yield from _ending(rest, line, start, dropped)


def _ending(rest: bytes, line: int, start: int, dropped: int) -> Iterator[Block]:
    if line + start + dropped + len(rest) == 0:
        raise BuildFileError("the file is empty")
    if dropped:
        yield _stand_in(line, start)
    elif rest:
        _refuse_cut(rest, line, start)
        for block in _whole_lines(rest + b"\n", line, start):
            yield block._replace(is_unended=True)


def _joined(source: BinaryIO | Iterable[bytes], block_bytes: int) -> Iterator[bytes]:
    """Pieces of about the wanted size, in which every line ends with a newline alone."""
    held = b""
    for piece in _pieces(source, block_bytes):
        data = held + piece
        held = data[-1:] if data.endswith(b"\r") else b""  # its newline may come with the next piece
        data = data[: len(data) - len(held)]
        if b"\r" in data:
            data = data.replace(b"\r\n", b" \n").replace(b"\r", b"\n")
        yield data
    if held:
        yield b"\n"


def _pieces(source: BinaryIO | Iterable[bytes], block_bytes: int) -> Iterator[bytes]:
    if hasattr(source, "read"):
        while data := source.read(block_bytes):
            yield data
        return
    gathered: list[bytes] = []
    size = 0
    for given in source:
        for at in range(0, len(given), block_bytes):
            gathered.append(given[at : at + block_bytes])
            size += len(gathered[-1])
            if size >= block_bytes:
                yield b"".join(gathered)
                gathered, size = [], 0
    if gathered:
        yield b"".join(gathered)


def _whole_lines(text: bytes, line: int, start: int) -> Iterator[Block]:
    ends = np.flatnonzero(np.frombuffer(text, np.uint8) == ord("\n"))
    lengths = np.diff(ends, prepend=-1)
    at = first = 0
    for long in np.flatnonzero(lengths > LONGEST_LINE).tolist():
        begin = int(ends[long] - lengths[long]) + 1
        if begin > at:
            yield Block(text[at:begin], ends[first:long] - at, line + first, start + at)
        yield _stand_in(line + long, start + begin)
        at, first = int(ends[long]) + 1, long + 1
    if at < len(text):
        yield Block(text[at:], ends[first:] - at, line + first, start + at)


def _stand_in(line: int, start: int) -> Block:
    return Block(b"\n", np.zeros(1, np.int64), line, start, is_too_long=True)


def _without_mark(data: bytes) -> bytes:
    """Blank the mark that some editors put before UTF-8 text; bytes keep their places."""
    return b"   " + data[3:] if data.startswith(_MARK_OF_UTF8) else data


def _refuse_binary(text: bytes, line: int, start: int) -> None:
    nul = text.find(b"\0")
    if nul >= 0:
        where = line + text.count(b"\n", 0, nul) + 1
        raise BuildFileError("a NUL byte: this is no text, or it was damaged", where, start + nul)
    head = text[:_HEAD]
    controls = len(head) - len(head.translate(None, _CONTROLS))
    if controls > max(_FEW, len(head) // 100):
        raise BuildFileError("control characters: this is no text", line + 1, start)


def _refuse_cut(rest: bytes, line: int, start: int) -> None:
    """Refuse a file whose last line has no end and stops where no word can end.

    A flag such as the X of `G28 X` is a whole word, the X of `G1 X` is not.
    """
    code = rest.split(b";", 1)[0]
    if code == rest and _CUT.search(rest) and (_MOVE.match(rest) or not _MAY_END_BARE.search(rest)):
        raise BuildFileError("the file was cut off in the middle of a word", line + 1, start + len(rest))
