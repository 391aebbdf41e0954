"""What is taken out of a block before its words are read: comments, quoted strings, checksums.

Owns their extent. RS274/NGC: comments in round brackets; `;` to the end of the line, `*` and the exclusive or of all
bytes before it as a checksum: common practice, no source. What comments say is never looked at.
"""

import re
from functools import reduce
from operator import xor
from typing import Final, NamedTuple

import numpy as np

from monitor.build_file.tally import Tally

_APART: Final = re.compile(rb'\([^)\n]*\)?|"[^"\n]*"?|;[^\n]*')  # whichever begins first; all of them end with the line
_BRACKET: Final = re.compile(rb'[("]')
_NEWLINE: Final = ord("\n")
_ZERO: Final = ord("0")
_TENS: Final = 10
WRONG_CHECKSUM: Final = "checksum does not fit its line"
UNCLOSED: Final = "bracket or quotation mark without its partner"


class Place(NamedTuple):
    """Where findings of a block go, and the number of its first line (from 1)."""

    notes: Tally
    line: int


def without_comments(text: bytes, place: Place) -> bytes:
    """Take out comments, quoted strings and checksums; lines stay lines."""
    if b"(" in text or b'"' in text:
        text = _without_brackets(text, place)
    text = _cut_lines(text, b";")
    if b"*" in text:
        _check(text, place)
        text = _cut_lines(text, b"*")
    return text


def _cut_lines(text: bytes, mark: bytes) -> bytes:
    """Drop everything from each mark to the end of its line."""
    at = text.find(mark)
    if at < 0:
        return text
    kept, start = [], 0
    while at >= 0:
        kept.append(text[start:at])
        start = text.find(b"\n", at)
        at = text.find(mark, start)
    return b"".join([*kept, text[start:]])


def _without_brackets(text: bytes, place: Place) -> bytes:
    """Take brackets and strings out of the lines that have some before any `;`."""
    kept, done, number = [], 0, place.line
    found = _BRACKET.search(text)
    while found:
        start, end = text.rfind(b"\n", 0, found.start()) + 1, text.find(b"\n", found.start())
        if text.find(b";", start, found.start()) < 0:
            number += text.count(b"\n", done, start)
            kept += [text[done:start], _bare(text[start:end], place._replace(line=number))]
            done = end
        found = _BRACKET.search(text, end)
    return b"".join([*kept, text[done:]])


def _bare(line: bytes, place: Place) -> bytes:
    """One line without its brackets and strings; its checksum is of the line as it was."""
    begin, end = line.find(b"("), line.find(b")")
    if line.count(b"(") == 1 and begin < end and b'"' not in line and b"*" not in line:
        return line[:begin] + b" " + line[end + 1 :]  # nearly always
    if any(_is_unclosed(found[0]) for found in _APART.finditer(line)):
        place.notes.add(UNCLOSED, place.line)
    bare = _APART.sub(b" ", line)
    star = bare.find(b"*")
    if star < 0:
        return bare
    said = bare[star + 1 :].strip()
    last = line.rfind(b"*" + said)
    if not said.isdigit() or reduce(xor, line[:last], 0) != int(said[:4]):
        place.notes.add(WRONG_CHECKSUM, place.line)
    return bare[:star]


def _is_unclosed(apart: bytes) -> bool:
    partner = {b"(": b")", b'"': b'"'}.get(apart[:1], apart[-1:])
    return (len(apart) == 1 and apart != b";") or not apart.endswith(partner)


def _check(text: bytes, place: Place) -> None:
    """Count the lines whose checksum is wrong or unreadable."""
    padded = np.frombuffer(text + b"\n\n\n", np.uint8)
    ends = np.flatnonzero(padded == _NEWLINE)
    stars = np.flatnonzero(padded == ord("*"))
    line, first = np.unique(np.searchsorted(ends, stars), return_index=True)
    stars = stars[first]
    starts = np.where(line > 0, ends[line - 1] + 1, 0)
    edges = np.stack([starts, stars], axis=1).ravel()
    really = np.bitwise_xor.reduceat(padded, edges)[::2]
    really[starts == stars] = 0  # reduceat gives the byte itself for a part without any
    said, is_number = np.zeros(len(stars), np.int64), np.zeros(len(stars), bool)
    is_open = np.ones(len(stars), bool)
    for place_after in (1, 2, 3):
        digit = padded[stars + place_after].astype(np.int64) - _ZERO
        is_open &= (digit >= 0) & (digit < _TENS)
        said = np.where(is_open, said * _TENS + digit, said)
        is_number |= is_open
    wrong = np.flatnonzero(~is_number | (said != really))
    if wrong.size:
        place.notes.add(WRONG_CHECKSUM, place.line + int(line[wrong[0]]), wrong.size)
