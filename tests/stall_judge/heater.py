"""A heated block that melts what is fed, its controller, and what is reported of it.

Owns the heater's own plain physics: one lumped mass, draught, a supply that wanders, duty in whole percent. The sizes
are assumptions of the kind common in practice (no source). Knows nothing of strands.
"""

from dataclasses import dataclass
from math import sqrt
from random import Random
from typing import Final, NamedTuple

import numpy as np

from tests.stall_judge.feeding import Onset, feed
from tests.stall_judge.losses import Array, Pattern, draw_law
from tests.stall_judge.moves import Move, build, draw_habits
from tests.stall_judge.rigs import FINE, STRAND_MM2, draw_rig

STEP_S: Final = 1.0
AWAY_S: Final = 20.0
"""Longest stand: to the heater another input's turn is feed as well."""
CALIBRATE_MM: Final = (4000.0, 7000.0)
ROOM_MM: Final = 1500.0


class HeaterRow(NamedTuple):
    """One sample of the heater; flow as commanded."""

    time_s: float
    temp_c: float
    duty: float
    power_w: float
    flow_mm3_s: float


@dataclass(frozen=True, slots=True)
class HeaterCase:
    """Telemetry of a heater, and the truth: new strand commanded at each row, and where the strand stops."""

    name: str
    rows: list[HeaterRow]
    mark_mm: Array
    onset_mm: float
    feeding_s: float


@dataclass(frozen=True, slots=True)
class Block:
    """One heated block."""

    power_w: float
    j_k: float
    loss_w_k: float
    j_mm3: float  # to melt
    set_c: float
    draught_w: float
    supply: float  # spread of the supply's wander, relative
    gain: float


def heater_case(
    seed: int, draught_w: float, flows: tuple[float, float], *, stops: bool, new_mm: float = 20_000.0
) -> HeaterCase:
    """A build of flows within a range [mm³/s]; with `stops` all of the strand stops at the onset."""
    name = f"heater {seed} {draught_w} {flows} {stops}"
    random = Random(f"judge {name}")  # noqa: S311 -- a judge must be able to repeat a case
    rig, habits = draw_rig(random, FINE), draw_habits(random)
    habits = habits._replace(flows=tuple(random.uniform(*flows) / 0.93 for _ in range(4)))
    onset = Onset(random.uniform(*CALIBRATE_MM) if stops else float("inf"))
    moves = build(random, habits, onset.mark_mm + ROOM_MM if stops else new_mm)
    moves = [move if move.length_mm != 0 else Move(0.0, min(move.time_s, AWAY_S)) for move in moves]
    law = draw_law(random, Pattern.RUN_OUT if stops else Pattern.HEALTHY)
    fed = feed(random, rig, moves, onset, law, None)
    times_s = np.arange(0.0, fed.time_s[-1], STEP_S)
    mark_mm = np.interp(times_s, fed.time_s, fed.mark_mm, left=0.0)
    asked = np.diff(mark_mm, append=mark_mm[-1]) * STRAND_MM2 / STEP_S
    melted = np.where(mark_mm > fed.onset_mm, 0.0, asked)
    rows = _run(random, _draw_block(random, draught_w), times_s, asked, melted)
    return HeaterCase(name, rows, mark_mm, fed.onset_mm, fed.feeding_s)


def _draw_block(random: Random, draught_w: float) -> Block:
    return Block(
        power_w=random.uniform(35.0, 60.0),
        j_k=random.uniform(9.0, 25.0),
        loss_w_k=random.uniform(0.03, 0.06),
        j_mm3=random.uniform(0.40, 0.55),
        set_c=random.uniform(195.0, 240.0),
        draught_w=draught_w,
        supply=random.uniform(0.0, 0.005),
        gain=random.uniform(0.06, 0.15),
    )


def _run(random: Random, block: Block, times_s: Array, asked: Array, melted: Array) -> list[HeaterRow]:
    """Step through the build with a controller in closed loop."""
    rng = np.random.default_rng(random.getrandbits(32))
    count = len(times_s)
    noise_k = rng.normal(0.0, 0.05, count).tolist()
    draught_w, supply = _wander(rng, block.draught_w, 25.0, count), _wander(rng, block.supply, 600.0, count)
    lagged = 0.0
    temp_c, integral, rows = block.set_c, block.loss_w_k * (block.set_c - 25.0) / block.power_w, []
    for index, (time_s, melts) in enumerate(zip(times_s.tolist(), melted.tolist(), strict=True)):
        read_c = round(temp_c + noise_k[index], 2)
        error_k = block.set_c - read_c
        integral = min(1.0, max(0.0, integral + block.gain * error_k * STEP_S / 30.0))
        duty = min(1.0, max(0.0, block.gain * error_k + integral))
        rows.append(HeaterRow(time_s, read_c, round(duty, 2), block.power_w, float(asked[index])))
        lagged += (melts - lagged) * STEP_S / 4.0  # the strand takes its heat over some seconds
        given_w = round(duty, 2) * block.power_w * (1.0 + supply[index]) - draught_w[index]
        lost_w = block.loss_w_k * (temp_c - 25.0) + block.j_mm3 * lagged
        temp_c += STEP_S * (given_w - lost_w) / block.j_k
    return rows


def _wander(rng: np.random.Generator, spread: float, memory_s: float, count: int) -> list[float]:
    """Return an Ornstein–Uhlenbeck process."""
    kicks = rng.standard_normal(count) * spread * sqrt(2 * STEP_S / memory_s)
    value, values = 0.0, []
    for kick in kicks.tolist():
        value += kick - value * STEP_S / memory_s
        values.append(value)
    return values
