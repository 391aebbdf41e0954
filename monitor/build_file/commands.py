"""Commands beside plain moves: which lines hold them, and which part of the reader each is for.

Owns the finding of those lines and the table of codes. RS274/NGC section 3 for G codes; M codes are common practice
without a source, but for M0, M1, M2, M6 and M30. Codes that change neither motion, feed nor heat are known and passed
over; all others are counted as unknown.
"""

from collections.abc import Callable, Iterator, Mapping
from math import isnan
from typing import Final

import numpy as np

from monitor.build_file import heat_commands, input_commands, limit_commands, motion_commands
from monitor.build_file.machine_state import Line, MachineState
from monitor.build_file.words import Ints, Words

_G, _M, _T = ord("G"), ord("M"), ord("T")
_CODES: Final = frozenset("GMT")
_LAST_MOVE: Final = 3.0
_CANCEL: Final = 80.0

Command = Callable[[MachineState, Line], None]

_COMMANDS: Final[Mapping[tuple[str, float], Command]] = {
    **motion_commands.COMMANDS,
    **limit_commands.COMMANDS,
    **heat_commands.COMMANDS,
    **input_commands.COMMANDS,
}
_PASSED_G: Final = frozenset({40.0, 49.0, 53.0, *map(float, range(54, 60)), 61.0, 64.0, 80.0, 94.0})
_PASSED_M: Final = frozenset(
    map(
        float,
        {
            *(*range(2, 6), *range(7, 10), 17, 18, *range(20, 25), *range(26, 34), 36, 38, 42, 73, *range(75, 79)),
            *(80, 81, 84, 85, 92, *range(105, 109), 110, 111, 113, 114, 115, *range(117, 124), 150, 155, 202, 211, 280),
            *(
                300,
                301,
                302,
                304,
                305,
                355,
                401,
                402,
                412,
                413,
                420,
                486,
                *range(500, 505),
                572,
                593,
                900,
                906,
                907,
                928,
            ),
        },
    )
)
_USES_NO_AXIS: Final = frozenset({17.0, 18.0, 19.0, 20.0, 21.0, 40.0, 49.0, 53.0, 61.0, 64.0, 80.0, 90.0, 91.0, 94.0})


def obey(state: MachineState, words: Words) -> Ints:
    """Take in all commands of a block; returns the lines whose axis words belong to a command, not to a move."""
    own: list[int] = []
    for line in _command_lines(words):
        uses_axes = has_move = False
        for letter, code in line.codes:
            if letter == "G" and 0.0 <= code <= _LAST_MOVE:
                has_move = True
                continue
            _obey_one(state, line, letter, code, words)
            uses_axes |= letter == "M" or (letter == "G" and code not in _USES_NO_AXIS)
        if uses_axes and not has_move:
            own.append(line.number)
    return np.array(own, np.int64)


def _obey_one(state: MachineState, line: Line, letter: str, code: float, words: Words) -> None:
    if letter == "T":
        if not any(other != "T" for other, number in line.codes if (other, number) not in input_commands.BESIDE_TOOL):
            input_commands.tool_word(state, line, code)
        return
    command = _COMMANDS.get((letter, code))
    if command is not None:
        state.known_commands += 1
        command(state, line)
    elif code in (_PASSED_G if letter == "G" else _PASSED_M):
        state.known_commands += 1
    elif (letter, code) == ("M", 567.0):
        input_commands.shares_of_tool(state, line, words.lists.get(line.number, ()))
    else:
        state.unknown.add(
            f"{letter} without a number" if isnan(code) else f"{letter}{code:g}", state.first_line + line.number
        )


def _command_lines(words: Words) -> Iterator[Line]:
    """Every line with an M or T word, or a G word that is no plain move."""
    letter, value = words.letter, words.value
    at = np.flatnonzero((letter == _G) | (letter == _M) | (letter == _T))
    code = value[at]
    is_move = (letter[at] == _G) & (code >= 0.0) & (code <= _LAST_MOVE) & (code == np.floor(code))
    numbers = np.unique(words.line[at[~is_move]])
    starts = np.searchsorted(words.line, numbers, side="left").tolist()
    ends = np.searchsorted(words.line, numbers, side="right").tolist()
    for number, start, end in zip(numbers.tolist(), starts, ends, strict=True):
        if end - start == 1:
            pairs = [(chr(letter[start]), float(value[start]))]
            yield Line(number, pairs, {})
            continue
        pairs = list(zip(letter[start:end].tobytes().decode("ascii"), value[start:end].tolist(), strict=True))
        yield Line(number, [pair for pair in pairs if pair[0] in _CODES], dict(pairs))
