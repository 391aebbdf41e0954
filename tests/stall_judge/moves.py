"""The build as one input sees it: turns, stretches, retractions, changes of input, pauses.

Owns the pattern of commanded feed. Knows nothing of slip, encoders or faults.
"""

from random import Random
from typing import Final, NamedTuple

from tests.stall_judge.rigs import STRAND_MM2

FLOW_MM3_S: Final = (2.0, 12.0)
IDLE_FROM_S: Final = 30.0
"""A shorter stand is not called idle."""


class Move(NamedTuple):
    """Feed `length_mm` in `time_s`; negative withdraws, 0 stands."""

    length_mm: float
    time_s: float
    idle_s: float = 0.0  # how long the strand stood hot before this move took it up again


class Habits(NamedTuple):
    """How this build feeds."""

    flows: tuple[float, ...]
    hop_mm: float
    hop_mm_s: float
    hop_chance: float
    park_mm: float
    prime_mm_s: float
    purge_mm: float
    turn_mm: tuple[float, float]
    pause_chance: float

    @property
    def fastest(self) -> float:
        """Greatest flow of the build [mm³/s]."""
        return max(self.flows)


def draw_habits(random: Random) -> Habits:
    """Habits of one build."""
    shortest_mm = random.uniform(30.0, 120.0)
    return Habits(
        flows=(random.uniform(2.0, 5.0), random.uniform(3.0, 9.0), random.uniform(7.0, 12.0)),
        hop_mm=random.uniform(0.3, 2.0),
        hop_mm_s=random.uniform(15.0, 45.0),
        hop_chance=random.uniform(0.1, 0.9),
        park_mm=random.choice((random.uniform(2.0, 15.0), random.uniform(20.0, 60.0))),
        prime_mm_s=random.uniform(3.0, 15.0),
        purge_mm=random.choice((0.0, random.uniform(5.0, 40.0))),
        turn_mm=(shortest_mm, shortest_mm * random.uniform(1.5, 6.0)),
        pause_chance=random.uniform(0.0, 0.004),
    )


def build(random: Random, habits: Habits, new_mm: float, long_idle: tuple[float, float] | None = None) -> list[Move]:
    """Return turns until `new_mm` of new strand are fed.

    `long_idle` = (from, seconds) lets the first change of input after `from` mm last so long.
    """
    moves: list[Move] = []
    done_mm, idle_s, has_idled = 0.0, 0.0, long_idle is None
    while done_mm < new_mm:
        turn_mm = random.uniform(*habits.turn_mm)
        moves += _turn(random, habits, turn_mm, idle_s)
        done_mm += turn_mm
        idle_s = _away_s(random)
        if long_idle is not None and not has_idled and done_mm >= long_idle[0]:
            idle_s, has_idled = long_idle[1], True
        moves.append(Move(0.0, idle_s))
    return moves


def _away_s(random: Random) -> float:
    """How long other inputs have their turns: minutes mostly, hours now and then."""
    return min(14_400.0, max(15.0, random.lognormvariate(5.0, 1.2)))


def _turn(random: Random, habits: Habits, new_mm: float, idle_s: float) -> list[Move]:
    told_s = idle_s if idle_s >= IDLE_FROM_S else 0.0
    moves = [Move(habits.park_mm, habits.park_mm / habits.prime_mm_s, told_s)] if idle_s > 0 else []
    purge_mm = min(habits.purge_mm, new_mm / 2)
    if purge_mm > 0:
        moves.append(_fed(purge_mm, habits.flows[1]))
    left_mm = new_mm - purge_mm
    while left_mm > 0:
        length_mm = min(left_mm, random.choice((random.uniform(0.3, 5.0), random.uniform(2.0, 45.0))))
        flow = random.choice(habits.flows) * random.uniform(0.85, 1.0)
        moves.append(_fed(length_mm, min(max(flow, FLOW_MM3_S[0]), FLOW_MM3_S[1])))
        left_mm -= length_mm
        moves += _between(random, habits)
    moves.append(Move(-habits.park_mm, habits.park_mm / habits.hop_mm_s))
    return moves


def _fed(length_mm: float, flow: float) -> Move:
    return Move(length_mm, length_mm * STRAND_MM2 / flow)


def _between(random: Random, habits: Habits) -> list[Move]:
    """Travel to the next stretch, drawn back or not; rarely a pause of minutes."""
    travel_s, idle_s = random.uniform(0.05, 2.0), 0.0
    if random.random() < habits.pause_chance:
        travel_s = idle_s = random.uniform(60.0, 1800.0)
    if random.random() >= habits.hop_chance:
        return [Move(0.0, travel_s)] if idle_s == 0 else [Move(0.0, travel_s), Move(0.01, 0.01, idle_s)]
    hop_s = habits.hop_mm / habits.hop_mm_s
    return [Move(-habits.hop_mm, hop_s), Move(0.0, travel_s), Move(habits.hop_mm, hop_s, idle_s)]
