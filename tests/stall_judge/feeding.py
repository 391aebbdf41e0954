"""A build fed through one rig: what the drive does with it, what the encoder's wheel turns, what the melt gets.

Owns the physics between commanded feed and encoder, in pieces of half a millimetre. Knows nothing of reports.
"""

from dataclasses import dataclass
from random import Random
from typing import Final, NamedTuple

import numpy as np

from tests.stall_judge.losses import MARGIN, Array, Beyond, Cold, Law, Losses, capacity_share
from tests.stall_judge.moves import Move
from tests.stall_judge.rigs import STRAND_MM2, Rig

PIECE_MM: Final = 0.5


class Onset(NamedTuple):
    """Where the trouble begins: at a mark of new strand, or as the strand is taken up after its longest stand."""

    mark_mm: float
    after_idle_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Fed:
    """What happened, piece by piece; positions and times are those at the end of each."""

    time_s: Array
    commanded_mm: Array
    mark_mm: Array  # highest commanded so far
    new_mm: Array
    wheel_mm: Array  # strand past the encoder's wheel, play included
    lost_share: Array  # of new strand, by the fault
    melt_flow: Array  # mm³/s
    skips: Array  # cycles the motor slipped by
    withdraws: Array  # 1 for the first piece of each withdrawal
    idle_from_s: Array  # times at which the strand was taken up again
    idle_s: Array  # and how long it had stood
    onset_mm: float  # mark from which something is lost
    onset_s: float  # inf if nothing ever is
    cold_from_s: float

    @property
    def feeding_s(self) -> float:
        """Time in which new strand was fed [s]."""
        return float(np.diff(self.time_s, prepend=0.0)[self.new_mm > 0].sum())


class Pieces(NamedTuple):
    """The moves of a build, cut into pieces."""

    time_s: Array
    step_s: Array
    length_mm: Array
    commanded_mm: Array
    mark_mm: Array
    new_mm: Array
    flow: Array
    withdraws: Array


def cut(moves: list[Move]) -> Pieces:
    """Pieces of at most half a millimetre each."""
    length_mm, move_s, _ = np.array(moves).T
    counts = np.maximum(1, np.ceil(np.abs(length_mm) / PIECE_MM)).astype(int)
    pieces_mm, step_s = np.repeat(length_mm / counts, counts), np.repeat(move_s / counts, counts)
    first = np.zeros(len(pieces_mm))
    first[np.cumsum(counts) - counts] = 1.0
    commanded_mm = np.cumsum(pieces_mm)
    mark_mm = np.maximum(np.maximum.accumulate(commanded_mm), 0.0)
    new_mm = np.diff(mark_mm, prepend=0.0)
    new_mm[new_mm < 1e-9] = 0.0  # a return to the mark, but for rounding
    flow = np.maximum(pieces_mm, 0.0) / step_s * STRAND_MM2
    return Pieces(np.cumsum(step_s), step_s, pieces_mm, commanded_mm, mark_mm, new_mm, flow, first * (pieces_mm < 0))


def feed(random: Random, rig: Rig, moves: list[Move], onset: Onset, law: Law, cold: tuple[Cold, float] | None) -> Fed:
    """Feed the build; `cold` = how cold the wall gets, and the fastest flow of the build."""
    rng = np.random.default_rng(random.getrandbits(32))
    pieces = cut(moves)
    idle_from_s, idle_s = _idles(moves)
    onset_mm = _onset_mm(pieces, onset, idle_from_s, idle_s)
    begin = int(np.searchsorted(pieces.mark_mm, onset_mm, side="right"))
    cold_from_s = float(pieces.time_s[min(begin, len(pieces.time_s) - 1)]) if cold is not None else np.inf
    wall_c = wall(rig, cold[0] if cold else None, cold_from_s, pieces.time_s)
    losses = law(Beyond(pieces.mark_mm - onset_mm, pieces.flow, wall_c))
    if cold is not None:
        most = MARGIN * cold[1] * np.exp(rig.limit_per_k * (wall_c - rig.least_c))
        chilled = np.where(pieces.time_s >= cold_from_s, capacity_share(pieces.flow, most), 0.0)
        losses = Losses(chilled, losses.smooth, losses.no_grip, losses.gone)
    return _fed(rng, rig, pieces, losses, (idle_from_s, idle_s), cold_from_s)


def wall(rig: Rig, cold: Cold | None, cold_from_s: float, time_s: Array) -> Array:
    """Wall at the merge point, without noise: wandering, and falling from `cold_from_s` on."""
    wandering: Array = rig.wander_k * np.sin(time_s / 97.0 + rig.late_s * 1e3) * np.sin(time_s / 23.0)
    wall_c = rig.set_c + wandering
    if cold is None:
        return wall_c
    fall_k = rig.set_c - rig.least_c + cold.below_least_k
    gone: Array = 1.0 - np.exp(-np.maximum(0.0, time_s - cold_from_s) / cold.tau_s)
    return wall_c - fall_k * gone


def _idles(moves: list[Move]) -> tuple[Array, Array]:
    _, move_s, idle_s = np.array(moves).T
    begin_s = np.cumsum(move_s) - move_s
    return begin_s[idle_s > 0], idle_s[idle_s > 0]


def _onset_mm(pieces: Pieces, onset: Onset, idle_from_s: Array, idle_s: Array) -> float:
    if onset.after_idle_mm is None:
        return onset.mark_mm
    taken_up_s = float(idle_from_s[int(np.argmax(np.where(idle_from_s > 0, idle_s, 0.0)))])
    index = int(np.searchsorted(pieces.time_s, taken_up_s))
    return float(pieces.mark_mm[index]) + onset.after_idle_mm


def _fed(
    rng: np.random.Generator,
    rig: Rig,
    pieces: Pieces,
    losses: Losses,
    idles: tuple[Array, Array],
    cold_from_s: float,
) -> Fed:
    skipped_mm = np.cumsum(losses.skipped * pieces.new_mm)
    cycles = np.floor(skipped_mm / rig.cycle_mm)
    skips = np.diff(cycles, prepend=0.0)
    step_mm = _driven_mm(rng, rig, pieces, losses) - skips * rig.cycle_mm
    step_mm += _slack_mm(rng, rig, pieces, idles[0])
    step_mm[losses.gone] = 0.0
    share = np.maximum(np.maximum(losses.skipped, losses.smooth), np.maximum(losses.no_grip, losses.gone * 1.0))
    share = np.where(pieces.new_mm > 0, share, 0.0)
    hit = np.flatnonzero(share > 0)
    first = int(hit[0]) if len(hit) else -1
    onset_mm = float(pieces.mark_mm[first] - pieces.new_mm[first]) if len(hit) else np.inf
    return Fed(
        time_s=pieces.time_s,
        commanded_mm=pieces.commanded_mm,
        mark_mm=pieces.mark_mm,
        new_mm=pieces.new_mm,
        wheel_mm=_with_play(np.cumsum(step_mm), rig.play_mm),
        lost_share=share,
        melt_flow=pieces.flow * (pieces.new_mm > 0) * (1.0 - _unmelted(losses, share, pieces, onset_mm)),
        skips=skips,
        withdraws=pieces.withdraws,
        idle_from_s=idles[0],
        idle_s=idles[1],
        onset_mm=onset_mm,
        onset_s=float(pieces.time_s[first] - pieces.step_s[first]) if len(hit) else np.inf,
        cold_from_s=cold_from_s,
    )


def _driven_mm(rng: np.random.Generator, rig: Rig, pieces: Pieces, losses: Losses) -> Array:
    """Motion of the strand in each piece, but for skips.

    Healthy slip goes with the force on the strand, so it is that of new strand alone: a strand that is withdrawn or
    primed pushes no melt. Its spread is that of every forward motion.
    """
    slip = rig.slip + rig.slip_per_flow * np.minimum(pieces.flow, 15.0) + _wander(rng, rig, pieces.mark_mm)
    forward_mm = np.maximum(pieces.length_mm, 0.0)
    random_mm = rig.walk * np.sqrt(forward_mm) * rng.standard_normal(len(forward_mm))
    kept = 1.0 - losses.no_grip
    driven: Array = (pieces.length_mm - slip * pieces.new_mm - random_mm) * kept - losses.smooth * pieces.new_mm
    return driven


def _wander(rng: np.random.Generator, rig: Rig, mark_mm: Array) -> Array:
    """Slow wander of healthy slip with what is fed, of the spread and length stated in the rig."""
    knots_mm = np.arange(0.0, float(mark_mm[-1]) + 2 * rig.drift_over_mm, rig.drift_over_mm / 8)
    stay = np.exp(-1 / 8)
    values = np.empty(len(knots_mm))
    values[0] = rng.standard_normal()
    kicks = rng.standard_normal(len(knots_mm)) * np.sqrt(1 - stay**2)
    for index in range(1, len(values)):
        values[index] = stay * values[index - 1] + kicks[index]
    found: Array = rig.drift * np.interp(mark_mm, knots_mm, values)
    return found


def _slack_mm(rng: np.random.Generator, rig: Rig, pieces: Pieces, idle_from_s: Array) -> Array:
    """What is missing or spare where a strand is taken up again."""
    slack_mm = np.zeros(len(pieces.time_s))
    index = np.minimum(np.searchsorted(pieces.time_s, idle_from_s, side="right"), len(slack_mm) - 1)
    slack_mm[index] = rng.normal(0.0, rig.slack_mm, len(index)).clip(-2 * rig.slack_mm, 2 * rig.slack_mm)
    return slack_mm


def _with_play(driven_mm: Array, play_mm: float) -> Array:
    """What the wheel makes of the drive's motion: it lags by the play at each reversal."""
    seen_mm, way = 0.0, []
    for position_mm in driven_mm.tolist():
        if position_mm < seen_mm:
            seen_mm = position_mm
        elif position_mm - play_mm > seen_mm:
            seen_mm = position_mm - play_mm
        way.append(seen_mm)
    return np.array(way)


def _unmelted(losses: Losses, share: Array, pieces: Pieces, onset_mm: float) -> Array:
    """Share that does not reach the melt: all that is lost, but the tail behind the encoder still feeds."""
    has_tail = losses.gone & (pieces.mark_mm - onset_mm < losses.tail_mm)
    return np.where(has_tail, 0.0, share)
