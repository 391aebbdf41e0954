"""Lines that move: which they are, and what they say.

Owns the modal state of words on them: the last G0 to G3 and the last F. RS274/NGC 3.5.1 to 3.5.3: motion and speed hold
until they are changed. Words that no move has are counted here.
"""

from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from monitor.build_file.machine_state import MachineState
from monitor.build_file.words import Floats, Ints, Words

FIRST_ARC: Final = 2.0

_MINUTE_S: Final = 60.0
_LAST_MOVE, _CANCEL = 3.0, 80.0
_LETTERS: Final = "XYZE"
_KNOWN: Final = np.isin(np.arange(256), np.frombuffer(b"XYZEFIJKRNPSGMTHDL", np.uint8))


class MoveLines(NamedTuple):
    """Lines that move, with what they say."""

    line: Ints
    code: Floats
    speed_mm_s: Floats
    words_mm: dict[str, Floats]


class LineFinder:
    """Finds the lines that move, block after block."""

    def __init__(self, state: MachineState) -> None:
        self._state = state
        self._code = 1.0
        self._speed_mm_s = state.settings.first_speed_mm_s

    def find(self, words: Words, lines: int, own: Ints) -> MoveLines:
        """Find the moves of one block of so many lines; words on the lines `own` belong to other commands."""
        column = {letter: _column(words, letter, lines) for letter in _LETTERS}
        code = self._codes(words, lines)
        moves = ~(np.isnan(column["X"]) & np.isnan(column["Y"]) & np.isnan(column["Z"]) & np.isnan(column["E"]))
        moves |= _has_centre(words, lines) & (code >= FIRST_ARC)
        moves &= code <= _LAST_MOVE
        moves[own] = False
        self._count_unknown(words, own)
        line = np.flatnonzero(moves)
        unit_mm = self._state.unit_mm.over(line)
        speed = scaled(self._speeds(words, own, line), self._state.speed_factor.over(line))
        words_mm = {letter: scaled(values[line], unit_mm) for letter, values in column.items()}
        return MoveLines(line, code[line], speed, words_mm)

    def _codes(self, words: Words, lines: int) -> Floats:
        """Motion on each line; 80 where there is none."""
        at = np.flatnonzero(words.letter == ord("G"))
        value = words.value[at]
        is_motion = ((value >= 0.0) & (value <= _LAST_MOVE) & (value == np.floor(value))) | (value == _CANCEL)
        codes, where = value[is_motion], words.line[at[is_motion]]
        before = self._code
        self._code = float(codes[-1]) if codes.size else before
        return np.repeat(np.concatenate([[before], codes]), np.diff(where, prepend=0, append=lines))

    def _speeds(self, words: Words, own: Ints, line: Ints) -> Floats:
        """F holds until the next one; that of another command is its own."""
        at = np.flatnonzero((words.letter == ord("F")) & (words.value > 0.0))
        if own.size:
            at = at[~np.isin(words.line[at], own)]
        where = words.line[at].astype(np.int64)
        speeds = words.value[at] * self._state.unit_mm.over(where) / _MINUTE_S
        before = self._speed_mm_s
        self._speed_mm_s = float(speeds[-1]) if speeds.size else before
        counts = np.diff(np.searchsorted(line, where), prepend=0, append=len(line))
        return np.repeat(np.concatenate([[before], speeds]), counts)

    def _count_unknown(self, words: Words, own: Ints) -> None:
        """Count words that no move has; other commands may have any."""
        strange = np.flatnonzero(~_KNOWN[words.letter])
        strange = strange[~np.isin(words.line[strange], own)]
        for letter, line in zip(words.letter[strange].tolist(), words.line[strange].tolist(), strict=True):
            self._state.unknown.add(chr(letter), self._state.first_line + line)
        bare = np.flatnonzero(np.isnan(words.value)) if words.has_bare else np.empty(0, np.int64)
        bare = bare[~np.isin(words.line[bare], own)]
        for letter, line in zip(words.letter[bare].tolist(), words.line[bare].tolist(), strict=True):
            self._state.unknown.add(f"{chr(letter)} without a number", self._state.first_line + line)


def scaled(values: Floats, factor: Floats | float) -> Floats:
    """Values times a factor, which nearly always is 1."""
    return values if isinstance(factor, float) and factor == 1.0 else values * factor


def _column(words: Words, letter: str, lines: int) -> Floats:
    """A word's number on every line, NaN without."""
    found = np.full(lines, np.nan)
    at = np.flatnonzero(words.letter == ord(letter))
    found[words.line[at]] = words.value[at]
    return found


def _has_centre(words: Words, lines: int) -> npt.NDArray[np.bool_]:
    found = np.zeros(lines, bool)
    found[words.line[(words.letter >= ord("I")) & (words.letter <= ord("K"))]] = True
    return found
