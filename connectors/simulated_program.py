"""The build the simulated machine runs: whose turn it is, and every move of the strands.

Owns the pattern of feeding (turns, stretches, small retractions, pauses, parking of a strand that has had its turn).
Knows nothing of heat, slip or sensors. The build is invented.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from random import Random
from typing import Final

from connectors.simulated_build import Move
from connectors.simulated_scenarios import INPUTS, Absence

REUSE_S: Final = 3_450.0
"""A strand that has stood this long takes the next turn, so that it is renewed within 75 min."""
TURN_MM: Final = (65.0, 220.0)
"""New strand fed in a turn: at the least more than the 52 mm of the way from cold end to merge point."""
FIRST_TURN_MM: Final = (65.0, 90.0)
STRETCH_MM: Final = (4.0, 40.0)
SPEED_MM_S: Final = (0.5, 4.0)
HOP_MM: Final = 0.8
"""Retraction between two stretches."""
HOP_CHANCE: Final = 0.5
PARK_MM: Final = 4.0
"""Withdrawn from the merge point when another strand takes over."""
PRIME_MM_S: Final = 4.0
RETRACT_MM_S: Final = 25.0
LONG_PAUSE_CHANCE: Final = 0.03
_WEIGHTS: Final = dict(zip(INPUTS, (5.0, 4.0, 2.0, 0.25, 0.6, 0.15), strict=True))


@dataclass(frozen=True, slots=True)
class Piece:
    """The part of a move that falls into one step; `under_way` when the move goes on after the step."""

    input: int
    length_mm: float
    speed_mm_s: float
    under_way: bool


def program(random: Random, start_s: float, end_s: float, absences: Sequence[Absence] = ()) -> Iterator[Move]:
    """Yield the moves of a build from `start_s` to the end of the turn that passes `end_s` [s, machine time].

    Every strand has a first turn; then the favourites feed most, and who has stood for `REUSE_S` comes next.
    """
    now_s = start_s
    last_s = dict.fromkeys(INPUTS, start_s)
    opening = random.sample(INPUTS, len(INPUTS))
    current = 0
    while now_s < end_s:
        bounds_mm = FIRST_TURN_MM if opening else TURN_MM
        current = opening.pop() if opening else _next_input(random, now_s, last_s, current, absences)
        for move in _turn(random, current, random.uniform(*bounds_mm)):
            now_s += move.time_s
            yield move
        last_s[current] = now_s


def _next_input(
    random: Random, now_s: float, last_s: dict[int, float], current: int, absences: Iterable[Absence]
) -> int:
    absent = {absence.input for absence in absences if absence.from_s <= now_s < absence.until_s}
    ready = [number for number in INPUTS if number not in absent and number != current]
    longest = min(ready, key=last_s.__getitem__)
    if now_s - last_s[longest] > REUSE_S:
        return longest
    return random.choices(ready, [_WEIGHTS[number] for number in ready])[0]


def _turn(random: Random, number: int, new_mm: float) -> Iterator[Move]:
    yield Move(number, PARK_MM, PARK_MM / PRIME_MM_S)
    left_mm = new_mm
    while left_mm > 0:
        length_mm = min(left_mm, random.uniform(*STRETCH_MM))
        yield Move(number, length_mm, length_mm / random.uniform(*SPEED_MM_S))
        left_mm -= length_mm
        if left_mm > 0:
            yield from _hop(random, number)
    yield Move(number, -PARK_MM, PARK_MM / RETRACT_MM_S)
    yield Move(number, 0.0, random.uniform(4.0, 9.0))
    if random.random() < LONG_PAUSE_CHANCE:
        yield Move(number, 0.0, random.uniform(30.0, 90.0))


def _hop(random: Random, number: int) -> Iterator[Move]:
    """Travel to the next stretch, half of the time with the strand drawn back a little."""
    travel = Move(number, 0.0, random.uniform(0.2, 3.0))
    if random.random() >= HOP_CHANCE:
        yield travel
        return
    yield Move(number, -HOP_MM, HOP_MM / RETRACT_MM_S)
    yield travel
    yield Move(number, HOP_MM, HOP_MM / RETRACT_MM_S)


class Runner:
    """Walks through the moves of a build in steps of time."""

    def __init__(self, moves: Iterable[Move]) -> None:
        self._moves = tuple(moves)
        self._total_s = sum(move.time_s for move in self._moves)
        self._index = 0
        self._into_s = 0.0  # of the current move, already done
        self._done_s = 0.0

    @property
    def finished(self) -> bool:
        """All moves are done."""
        return self._index == len(self._moves)

    @property
    def done_s(self) -> float:
        """How long it has been under way [s]."""
        return self._done_s

    @property
    def progress(self) -> float:
        """Share of the build that is done, 0..1."""
        return 1.0 if self.finished else self._done_s / self._total_s

    def pieces(self, step_s: float) -> Iterator[Piece]:
        """Yield what moves within the next `step_s`, pauses left out."""
        left_s = step_s
        while left_s > 0 and not self.finished:
            move = self._moves[self._index]
            under_way = move.time_s - self._into_s > left_s
            taken_s = left_s if under_way else move.time_s - self._into_s
            self._into_s = self._into_s + taken_s if under_way else 0.0
            self._index += not under_way
            self._done_s += taken_s
            left_s -= taken_s
            if move.length_mm != 0 and taken_s > 0:
                speed_mm_s = move.length_mm / move.time_s
                yield Piece(move.input, speed_mm_s * taken_s, speed_mm_s, under_way)
