"""What is reported of a fed build: samples with all their faults.

Owns the report alone: counts, lateness, jitter, lost and mute samples, counters reset, stall flags. The truth stays
in `feeding.Fed`.
"""

from random import Random
from typing import Final, NamedTuple

import numpy as np

from tests.stall_judge.feeding import Fed, wall
from tests.stall_judge.losses import Array, Cold
from tests.stall_judge.rigs import Rig

REST_S: Final = 5.0
"""After so long without a move samples are told thinly, to save time: nothing happens in them."""
THIN: Final = 60
"""Every so-manieth of them."""
OUTAGES_PER_S: Final = 1 / 5_000
OUTAGE_S: Final = (3.0, 40.0)
"""Silences while the build goes on. None where a fault has begun: a delay is that of what can be seen."""


class Row(NamedTuple):
    """One sample of one input."""

    time_s: float
    fed_mm: float
    sensed_mm: float | None
    stall_flag: bool | None
    manifold_c: float | None
    manifold_set_c: float | None
    hot_idle_s: float


class Telemetry(NamedTuple):
    """Rows, and for the judge alone how far new strand had come at each."""

    rows: list[Row]
    mark_mm: Array


def report(random: Random, rig: Rig, fed: Fed, cold: Cold | None) -> Telemetry:
    """Samples of the whole build."""
    rng = np.random.default_rng(random.getrandbits(32))
    taken_s = _taken_s(rng, rig, fed)
    read_s = taken_s + rig.clock_s
    commanded_mm = np.round(np.interp(read_s, fed.time_s, fed.commanded_mm, left=0.0), 2)
    wall_c = np.round(wall(rig, cold, fed.cold_from_s, taken_s) + rng.normal(0.0, rig.noise_k, len(taken_s)), 1)
    rows = zip(
        (taken_s + rng.uniform(0.0, 0.02, len(taken_s))).tolist(),
        commanded_mm.tolist(),
        _sensed(rng, rig, fed, taken_s),
        _flags(rng, rig, fed, taken_s),
        wall_c.tolist(),
        np.round(_set_c(rig, cold, fed, taken_s), 1).tolist(),
        _idle_s(fed, taken_s).tolist(),
        strict=True,
    )
    return Telemetry([Row(*row) for row in rows], np.interp(read_s, fed.time_s, fed.mark_mm, left=0.0))


def _taken_s(rng: np.random.Generator, rig: Rig, fed: Fed) -> Array:
    """Times of the samples that arrive."""
    regular_s = np.arange(1.0, fed.time_s[-1] / rig.period_s) * rig.period_s
    index = np.minimum(np.searchsorted(fed.time_s, regular_s), len(fed.time_s) - 1)
    steps_s = np.diff(fed.time_s, prepend=0.0)
    stands = (np.diff(fed.commanded_mm, prepend=0.0) == 0) & (steps_s > 2 * REST_S)
    into_s = regular_s - (fed.time_s - steps_s)[index]
    to_go_s = fed.time_s[index] - regular_s
    rests = stands[index] & (into_s > REST_S) & (to_go_s > REST_S)
    keep = ~rests | (np.arange(len(regular_s)) % THIN == 0)
    keep &= rng.random(len(regular_s)) >= rig.lost_share
    starts_s = rng.uniform(0.0, fed.time_s[-1], rng.poisson(fed.feeding_s * OUTAGES_PER_S))
    for start_s in starts_s[starts_s < fed.onset_s - OUTAGE_S[1]]:
        keep &= ~((regular_s >= start_s) & (regular_s < start_s + rng.uniform(*OUTAGE_S)))
    arrived_s: Array = regular_s[keep]
    return arrived_s


def _sensed(rng: np.random.Generator, rig: Rig, fed: Fed, taken_s: Array) -> list[float | None]:
    late_s = rig.late_s + rng.uniform(0.0, rig.jitter_s, len(taken_s))
    turned_mm = np.interp(np.maximum.accumulate(taken_s - late_s), fed.time_s, fed.wheel_mm, left=0.0)
    angle = 2 * np.pi * turned_mm / rig.wheel_mm
    shown_mm = turned_mm * (1.0 + rig.scale) + rig.eccentric_mm * np.sin(angle + rng.uniform(0.0, 6.28))
    counts = np.floor(shown_mm / rig.count_mm + rng.random())
    for mark_mm in rng.uniform(0.0, fed.mark_mm[-1], rng.poisson(rig.resets_per_m * fed.mark_mm[-1] / 1e3)):
        after = taken_s > fed.time_s[min(np.searchsorted(fed.mark_mm, mark_mm), len(fed.time_s) - 1)]
        if after.any():
            counts[after] -= counts[np.argmax(after)]
    is_mute = rng.random(len(taken_s)) < rig.mute_share
    if rig.every_other:
        is_mute |= np.arange(len(taken_s)) % 2 == 1
    values = np.round(counts * rig.count_mm, 3).tolist()
    return [None if mute else value for value, mute in zip(values, is_mute.tolist(), strict=True)]


def _flags(rng: np.random.Generator, rig: Rig, fed: Fed, taken_s: Array) -> list[bool]:
    """A flag is raised by some skips and, seldom, by a withdrawal; the next sample carries it."""
    chance = np.where(fed.skips > 0, 1.0 - (1.0 - rig.flag_chance) ** np.maximum(fed.skips, 1.0), 0.0)
    chance = chance + fed.withdraws * rig.false_flag_chance
    raised_s = fed.time_s[rng.random(len(chance)) < chance]
    flags = np.zeros(len(taken_s) + 1, dtype=bool)
    flags[np.searchsorted(taken_s, raised_s)] = True
    return [bool(flag) for flag in flags[:-1]]


def _set_c(rig: Rig, cold: Cold | None, fed: Fed, taken_s: Array) -> Array:
    set_c = np.full(len(taken_s), rig.set_c)
    if cold is not None and cold.is_set_so:
        set_c[taken_s >= fed.cold_from_s] = rig.least_c - cold.below_least_k
    return set_c


def _idle_s(fed: Fed, taken_s: Array) -> Array:
    index = np.searchsorted(fed.idle_from_s, taken_s) - 1
    return np.where(index >= 0, np.append(fed.idle_s, 0.0)[index], 0.0)
