"""The words of lines that are not plain: free text, flags, long numbers, lists of numbers, names, leftovers.

Owns what such a line may be, and tells what of it cannot be read. Slow and careful; works on one line at a time.
"""

import math
import re
from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from monitor.build_file.comments import Place
from monitor.build_file.words import FREE_TEXT_CODES, Ints, Words, plain_words

_NUMBER: Final = rb"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)"
_WORD: Final = re.compile(rb"([A-Za-z])[ \t]*(" + _NUMBER + rb")((?::(?:" + _NUMBER + rb")?)*)|([A-Za-z])")
_FREE_TEXT: Final = re.compile(
    rb"(?<![A-Za-z])[Mm][ \t]*(0*(?:" + b"|".join(b"%d" % code for code in FREE_TEXT_CODES) + rb"))(?![0-9.])"
)
_NAMED: Final = re.compile(rb"\s*(?:[Nn][ \t]*[0-9]+\s*)?([A-Za-z_][A-Za-z_][A-Za-z_0-9]*)")
_FLAGS: Final = re.compile(rb"[XYZEABCUVWxyzeabcuvw]+$")
_EXPRESSION: Final = re.compile(rb"[\[\]{}#=]")

_APART_WORD: Final = re.compile(rb"([A-Za-z])[ \t]+(?=[-+.0-9])")
_MANY: Final = 8

HUGE: Final = 1e8
"""Beyond this no number of a build file can be meant: half the earth's girth in millimetres is 2e10."""

Row = tuple[int, float, int]


def block_words(text: bytes, line_ends: Ints, place: Place, unknown: Place) -> Words:
    """All words of a cleaned block, line by line in order.

    Parameters
    ----------
    text : bytes
        Whole lines without comments.
    line_ends : array of int
        Only its length counts: the lines of the block.
    place : Place
        Where what is odd in the block is noted.
    unknown : Place
        Where what has no meaning here is counted.
    """
    plain, odd = plain_words(text)
    if odd.size * _MANY > line_ends.size:
        text = _APART_WORD.sub(rb"\1", text)  # some programs always write blanks there
        plain, odd = plain_words(text)
    if not odd.size:
        return plain
    lines = text.split(b"\n") if odd.size * _MANY > line_ends.size else _only(text, odd)
    lists: dict[int, tuple[float, ...]] = {}
    rows = [list(_words_of(lines[number], number, lists, place, unknown)) for number in odd.tolist()]
    return _merged(plain, odd, rows, lists)


def _only(text: bytes, odd: Ints) -> dict[int, bytes]:
    """Just the odd lines, where they are few."""
    ends = np.flatnonzero(np.frombuffer(text, np.uint8) == ord("\n"))
    starts = np.where(odd > 0, ends[odd - 1] + 1, 0)
    return {
        number: text[start:end]
        for number, start, end in zip(odd.tolist(), starts.tolist(), ends[odd].tolist(), strict=True)
    }


def _merged(plain: Words, odd: Ints, rows: Sequence[Sequence[Row]], lists: dict[int, tuple[float, ...]]) -> Words:
    """Put the words of the odd lines where the fast reading had others; plain slices, since odd lines are few."""
    starts = np.searchsorted(plain.line, odd, side="left").tolist()
    ends = np.searchsorted(plain.line, odd, side="right").tolist()
    flat = np.array([row for own in rows for row in own], float).reshape(-1, 3)
    new_letter, new_value, new_line = flat[:, 0].astype(np.uint8), flat[:, 1], flat[:, 2].astype(np.int64)
    letters, values, line = [], [], []
    done = taken = 0
    for start, end, own in zip(starts, ends, rows, strict=True):
        upto = taken + len(own)
        letters += [plain.letter[done:start], new_letter[taken:upto]]
        values += [plain.value[done:start], new_value[taken:upto]]
        line += [plain.line[done:start], new_line[taken:upto]]
        done, taken = end, upto
    return Words(
        np.concatenate([*letters, plain.letter[done:]]),
        np.concatenate([*values, plain.value[done:]]),
        np.concatenate([*line, plain.line[done:]]),
        lists,
        has_bare=True,
    )


def _words_of(
    raw: bytes, number: int, lists: dict[int, tuple[float, ...]], place: Place, unknown: Place
) -> Iterator[Row]:
    free = _FREE_TEXT.search(raw)
    if free:
        if not raw[: free.start()].strip():  # nearly always
            yield ord("M"), float(free[1]), number
            return
        raw = raw[: free.end()]
    named = _NAMED.match(raw)
    if named and not _FLAGS.match(named[1]):
        unknown.notes.add(named[1].decode("ascii").upper(), unknown.line + number)
        return
    if _EXPRESSION.search(raw):
        unknown.notes.add("an expression or parameter", unknown.line + number)
        return
    for found in _WORD.finditer(raw):
        yield _row(found, number, lists, place)
    left = _WORD.sub(b" ", raw).strip(b" \t\r\v\f%/")
    if left:
        place.notes.add("characters that are no words", place.line + number)


def _row(found: re.Match[bytes], number: int, lists: dict[int, tuple[float, ...]], place: Place) -> Row:
    if found[4] is not None:
        return found[4].upper()[0], math.nan, number
    value = float(found[2])
    if found[3]:
        further = tuple(float(part) for part in found[3].split(b":") if part)
        lists[number] = (value, *further)
    if not abs(value) <= HUGE:
        place.notes.add("number too large to be meant", place.line + number)
        value = math.nan
    return found[1].upper()[0], value, number
