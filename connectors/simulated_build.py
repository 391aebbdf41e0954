"""A build the simulated machine is given: moves, set points of its manifold, strands withdrawn, strand fed into waste.

Owns the shape of such a build and in which order it is carried out. Plain data: where it comes from is not known here.
Knows nothing of heat, slip or sensors.
"""

from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from math import isfinite
from types import MappingProxyType
from typing import Final, NamedTuple

from connectors.errors import SettingsError
from connectors.simulated_ageing import AGE_LAWS, AgeLaw

WITHDRAWN_MM: Final = 90.0
"""Takes a strand out of the hot path and some way beyond."""
WITHDRAWN_MM_S: Final = 10.0
ADVANCED_MM_S: Final = 2.0
"""Speed of strand that is fed into waste."""
FULL_SPEED_C: Final[Mapping[int, float]] = MappingProxyType(
    dict(zip((1, 2, 3, 4, 5, 6), (179.0, 186.5, 174.5, 168.0, 190.5, 180.5), strict=True))
)
"""Manifold from which on each strand can be pushed as fast as its drive can; invented, and well apart."""
_ROUNDING_S: Final = 1e-3


@dataclass(frozen=True, slots=True)
class Move:
    """Feed `length_mm` of the strand at `input` in `time_s`; negative withdraws, 0 is a pause."""

    input: int
    length_mm: float
    time_s: float


class SetPoint(NamedTuple):
    """What the manifold is set to from a time of the build on [s, °C]."""

    time_s: float
    set_c: float


class Withdrawal(NamedTuple):
    """A strand is drawn out of the hot path at a time of the build [s]."""

    time_s: float
    input: int


class Advance(NamedTuple):
    """Strand is fed into waste at a time of the build [s, mm]."""

    time_s: float
    input: int
    length_mm: float


@dataclass(frozen=True, slots=True)
class SimulatedBuild:
    """A planned build. Times are those of the moves alone; what is put in between delays all that follows.

    Parameters
    ----------
    moves : tuple of Move
        In their order.
    set_points : tuple of SetPoint
        Of the manifold, in order of time; the first is heated to before the build begins.
    withdrawals : tuple of Withdrawal
        Strands that are not needed any more.
    advances : tuple of Advance
        Strand into waste.
    age_laws : Mapping of int to AgeLaw
        How strands age while they stand; what is not here never ages.
    full_speed_c : Mapping of int to float
        Manifold from which on each strand can be pushed at full speed [°C]; below, it skips at speed.

    Raises
    ------
    SettingsError
        If a time or set point cannot be, or a strand is fed after its withdrawal.
    """

    moves: tuple[Move, ...]
    set_points: tuple[SetPoint, ...]
    withdrawals: tuple[Withdrawal, ...] = ()
    advances: tuple[Advance, ...] = ()
    age_laws: Mapping[int, AgeLaw] = field(default_factory=lambda: AGE_LAWS)
    full_speed_c: Mapping[int, float] = field(default_factory=lambda: FULL_SPEED_C)

    def __post_init__(self) -> None:
        """Refuse what cannot be carried out."""
        times_s = [point.time_s for point in self.set_points]
        if not times_s or times_s != sorted(times_s):
            raise SettingsError("simulated build: it needs set points of the manifold, in order of time")
        times_s += [withdrawal.time_s for withdrawal in self.withdrawals]
        times_s += [advance.time_s for advance in self.advances]
        if not all(isfinite(time_s) and time_s >= 0 for time_s in times_s):
            raise SettingsError("simulated build: a time cannot be; allowed: 0 s or more")
        fed_until_s = _last_feeds(self.moves)
        for withdrawal in self.withdrawals:
            if fed_until_s.get(withdrawal.input, 0.0) > withdrawal.time_s + _ROUNDING_S:
                raise SettingsError(f"simulated build: input {withdrawal.input} is fed after it was withdrawn")

    @property
    def length_s(self) -> float:
        """How long it takes, with all that is put in between [s]."""
        return sum(move.time_s for move in carried_out(self))


def _last_feeds(moves: Iterable[Move]) -> dict[int, float]:
    """When each input that is fed is fed last [s]."""
    last_s: dict[int, float] = {}
    now_s = 0.0
    for move in moves:
        now_s += move.time_s
        if move.length_mm > 0:
            last_s[move.input] = now_s
    return last_s


def carried_out(build: SimulatedBuild) -> Iterator[Move]:
    """Yield the moves of a build, withdrawals and advances in their places; a move under way is interrupted."""
    waiting = deque(_extras(build))
    now_s = 0.0
    for planned in build.moves:
        move = planned
        while waiting and waiting[0][0] < now_s + move.time_s:
            time_s, extra = waiting.popleft()
            before, move = _split(move, time_s - now_s)
            now_s += before.time_s
            yield from (before, extra) if before.time_s > 0 else (extra,)
        yield move
        now_s += move.time_s
    yield from (extra for _, extra in waiting)


def delayed_set_points(build: SimulatedBuild) -> tuple[SetPoint, ...]:
    """Set points by the time of what is carried out: each is delayed by what was put in before it."""
    extras = _extras(build)
    delays_s = [sum(extra.time_s for at_s, extra in extras if at_s < point.time_s) for point in build.set_points]
    return tuple(SetPoint(it.time_s + late_s, it.set_c) for it, late_s in zip(build.set_points, delays_s, strict=True))


def _extras(build: SimulatedBuild) -> list[tuple[float, Move]]:
    """Moves that are put in between, with their times, in order of time."""
    drawn_s = WITHDRAWN_MM / WITHDRAWN_MM_S
    extras = [(it.time_s, Move(it.input, -WITHDRAWN_MM, drawn_s)) for it in build.withdrawals]
    extras += [(it.time_s, Move(it.input, it.length_mm, it.length_mm / ADVANCED_MM_S)) for it in build.advances]
    return sorted(extras, key=lambda extra: extra[0])


def _split(move: Move, at_s: float) -> tuple[Move, Move]:
    """A move in two, the first lasting `at_s` [s]."""
    first_s = min(move.time_s, max(0.0, at_s))
    first_mm = move.length_mm * first_s / move.time_s if move.time_s > 0 else 0.0
    return Move(move.input, first_mm, first_s), Move(move.input, move.length_mm - first_mm, move.time_s - first_s)
