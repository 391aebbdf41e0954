"""The words of a block: a letter and a number each, with the line that they stand on.

Owns the fast reading of plain lines by tables; lines that are not plain are left to `odd_lines`. RS274/NGC: words are a
letter and a number, in either case; white space between them means nothing. Knows nothing of what the words mean.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt

from monitor.build_file.digits import MOST_DIGITS, MOST_TOGETHER, decimals, last_digits

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bytes = npt.NDArray[np.uint8]

_DIGIT, _SIGN, _POINT, _BLANK, _NEWLINE, _LETTER, _ODD = 0, 1, 2, 3, 4, 5, 9
_UPPER: Final = 0xDF
_PAD: Final = 8
_MINUS, _PLUS = ord("-"), ord("+")

FREE_TEXT_CODES: Final = (23, 28, 30, 32, 33, 36, 38, 117, 118, 928)
"""M codes followed by text or a file's name, not by words: common practice, no source."""


def _kinds() -> bytes:
    kinds = bytearray([_ODD]) * 256
    for kind, characters in (
        (_DIGIT, b"0123456789"),
        (_SIGN, b"+-"),
        (_POINT, b"."),
        (_BLANK, b" \t"),
        (_NEWLINE, b"\n"),
    ):
        for code in characters:
            kinds[code] = kind
    for code in range(ord("A"), ord("Z") + 1):
        kinds[code] = kinds[code | 0x20] = _LETTER
    return bytes(kinds)


_KINDS: Final = _kinds()


@dataclass(frozen=True, slots=True, eq=False)
class Words:
    """Words in the order of their lines.

    Parameters
    ----------
    letter : array of uint8
        Upper-case letters, as ASCII codes.
    value : array of float
        Their numbers; NaN for a letter that stands alone.
    line : array of int
        Line of each, from 0 in its block.
    lists : Mapping[int, tuple of float]
        Lines on which a word has several numbers, with all of them.
    has_bare : bool
        Whether there may be a letter that stands alone.
    """

    letter: Bytes
    value: Floats
    line: Ints
    lists: Mapping[int, tuple[float, ...]] = field(default_factory=dict)
    has_bare: bool = False


def plain_words(text: bytes) -> tuple[Words, Ints]:
    """Words of all lines of a cleaned block, and the lines that are not plain, whose words must not be used."""
    padded = b"\n" * _PAD + text + b"\n\n"
    characters = np.frombuffer(padded, np.uint8)
    kind = np.frombuffer(padded.translate(_KINDS), np.uint8)
    token = np.flatnonzero(kind >= _POINT)  # whatever ends a run of digits
    token_kind = kind[token]
    token_line = np.cumsum(token_kind == _NEWLINE, dtype=np.int64)
    token_line -= _PAD
    letters = np.flatnonzero(token_kind == _LETTER)
    at, line = token[letters], token_line[letters]
    value, is_plain = _numbers(padded, at, token, token_kind, letters)
    letter = characters[at] & np.uint8(_UPPER)
    is_plain[_free_texts(letter, value)] = False
    odd = [line[~is_plain], _odd_lines(kind, token, token_kind, token_line)]
    return Words(letter, value, line), np.unique(np.concatenate(odd))


def _free_texts(letter: Bytes, value: Floats) -> Ints:
    codes = np.flatnonzero(letter == ord("M"))
    return codes[np.isin(value[codes], FREE_TEXT_CODES)]


def _numbers(
    padded: bytes, at: Ints, token: Ints, token_kind: Bytes, letters: Ints
) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """The number after each letter, and whether it is one that could be read here."""
    last8 = np.ndarray(shape=(len(padded) - 7,), dtype="<u8", buffer=padded, strides=(1,))
    following = letters + 1
    end = token[following]
    has_point = token_kind[following] == _POINT
    following += has_point  # two tokens stand after the last letter
    end_of_fraction = token[following]
    sign = np.frombuffer(padded, np.uint8)[at + 1]
    is_negative = sign == _MINUS
    whole = end - at
    whole -= 1
    whole -= is_negative | (sign == _PLUS)
    fraction = end_of_fraction - end
    fraction -= has_point
    together = whole + fraction
    is_plain = (whole <= MOST_DIGITS) & (fraction <= MOST_DIGITS) & (together > 0) & (together <= MOST_TOGETHER)
    np.minimum(whole, MOST_DIGITS, out=whole)
    np.minimum(fraction, MOST_DIGITS, out=fraction)
    before, after = last_digits(last8[end - 8], whole), last_digits(last8[end_of_fraction - 8], fraction)
    value = decimals(before, after, fraction)
    np.negative(value, out=value, where=is_negative)
    return value, is_plain


def _odd_lines(kind: Bytes, token: Ints, token_kind: Bytes, token_line: Ints) -> Ints:
    """Lines with unknown characters, a point, sign or digit that no letter leads, or a sign within a number."""
    is_odd = token_kind == _ODD
    is_odd[1:] |= (token_kind[1:] == _POINT) & (token_kind[:-1] != _LETTER)
    is_odd[:-1] |= (kind[token[:-1] + 1] == _DIGIT) & ((token_kind[:-1] == _BLANK) | (token_kind[:-1] == _NEWLINE))
    sign = np.flatnonzero(kind == _SIGN)
    stray = sign[kind[sign - 1] != _LETTER]
    of_stray = token_line[np.searchsorted(token, stray, side="right") - 1]
    lines = token_line[is_odd]
    # a digit right after a newline belongs to the line which that newline begins; `token_line` counts it so already
    return np.concatenate([lines, of_stray])
