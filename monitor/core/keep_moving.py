"""A strand that must stand for a night, kept fresh by small moves: how often, how far, and what it costs.

Moves of L mm every t minutes carry a parcel through the hot path by turns; it leaves with the sum of what it gained at
each place, no more than t (I / L + r), where r is the highest rate of ageing on the path and I its integral along it.
So L = I / (D / t - r) keeps the dose at D. The field then proves it, run ahead over the night. Knows nothing of words.
"""

import math
from collections.abc import Iterator
from typing import Final, NamedTuple
from weakref import WeakKeyDictionary

import numpy as np

from monitor.core.aged_part import aged_mm, whole_mm
from monitor.core.field import Field
from monitor.core.field_state import BEFORE_PATH, FieldState
from monitor.core.outlook import Limits, Stretch, look_ahead
from monitor.core.parameters import Material
from monitor.core.propagator import Propagators

NIGHT_S: Final = 8 * 3600.0
MOVE_MM_S: Final = 1.0
_INTERVALS_MIN: Final = (60.0, 45.0, 30.0, 20.0, 15.0, 10.0, 5.0)
_STEADY_SHARE: Final = 0.25  # of the dose allowed that one interval may add: longer ones waste strand
_ALLOWED: Final = 0.45  # of the warn dose; what is left on the path at the start makes up the half
_LEFT: Final = 0.05
_LEAST_MM: Final = 1.0  # less is lost in the drive's play
_WALL_STEP_C: Final = 2.0  # plans are made for walls rounded up: few serve a night
_TRIES: Final = 5
_MOST_KNOWN: Final = 64


class Moves(NamedTuple):
    """A plan for one strand.

    First `first_mm`, then `length_mm` every `interval_s`, which is infinite where a night needs no move at all.
    """

    first_mm: float
    interval_s: float
    length_mm: float
    grams_per_h: float


class _Plan(NamedTuple):
    interval_s: float
    length_mm: float


def moves(field: Field, state: FieldState, strand: int, diameter_mm: float) -> Moves | None:
    """Plan that keeps a strand below half its warn dose for a night at these walls; None where none does."""
    walls_c = tuple((np.ceil(state.walls_c / _WALL_STEP_C) * _WALL_STEP_C).tolist())
    plan = _known_plan(field, strand, walls_c)
    if plan is None:
        return None
    material = field.strands[strand].material
    first_mm = whole_mm(aged_mm(field, state, strand, _LEFT * material.warn_min))
    gram_per_mm = math.pi / 4 * diameter_mm**2 * material.density_kg_m3 * 1e-6
    grams_per_h = gram_per_mm * plan.length_mm * 3600.0 / plan.interval_s
    return Moves(first_mm, plan.interval_s, plan.length_mm, grams_per_h)


def future_of(first_mm: float, interval_s: float, length_mm: float, state: FieldState) -> Iterator[Stretch]:
    """The night of one strand under a plan, stretch by stretch, walls as they are."""
    if first_mm > 0.0:
        yield Stretch(first_mm / MOVE_MM_S, state.walls_c, (first_mm,))
    if math.isinf(interval_s):
        yield Stretch(NIGHT_S, state.walls_c, (0.0,))
        return
    move_s = length_mm / MOVE_MM_S
    for _ in range(round(NIGHT_S / interval_s)):
        yield Stretch(interval_s - move_s, state.walls_c, (0.0,))
        yield Stretch(move_s, state.walls_c, (length_mm,))


_Key = tuple[Material, float, tuple[float, ...]]  # with the wet factor and the walls
_known: WeakKeyDictionary[Propagators, dict[_Key, _Plan | None]] = WeakKeyDictionary()
"""Plans made, by machine: they change only how long an answer takes, and the walls of a night are mostly the same."""


def _known_plan(field: Field, strand: int, walls_c: tuple[float, ...]) -> _Plan | None:
    plans, loaded = _known.setdefault(field.propagators, {}), field.strands[strand]
    key = loaded.material, loaded.wet_factor, walls_c
    if key not in plans:
        if len(plans) >= _MOST_KNOWN:
            plans.clear()
        plans[key] = _plan(field, strand, walls_c)
    return plans[key]


def _plan(field: Field, strand: int, walls_c: tuple[float, ...]) -> _Plan | None:
    """Plan for a fresh strand."""
    own = field.of(strand)
    fresh = own.initial(np.array(walls_c))
    rate = fresh.rate[0, BEFORE_PATH:]
    allowed_min, worst = _ALLOWED * own.strands[0].material.warn_min, float(rate.max())
    if worst * NIGHT_S / 60.0 <= allowed_min:
        return _Plan(math.inf, 0.0)
    interval_min = next((t for t in _INTERVALS_MIN if t * worst <= _STEADY_SHARE * allowed_min), None)
    if interval_min is None:
        return None
    length_mm = float(rate.sum()) * own.grid.cell_mm / (allowed_min / interval_min - worst)
    return _proven(own, fresh, interval_min * 60.0, max(_LEAST_MM, _half_mm(length_mm)), allowed_min)


def _proven(own: Field, fresh: FieldState, interval_s: float, length_mm: float, allowed_min: float) -> _Plan | None:
    """The plan, with moves as much longer as the field needs; None when that is beyond reason."""
    for _ in range(_TRIES):
        if length_mm / MOVE_MM_S > interval_s / 2:
            return None
        future = list(future_of(0.0, interval_s, length_mm, fresh))
        looked_for = Limits(allowed_min, math.inf, math.inf, math.inf)
        outlook = look_ahead(own, fresh, future, [looked_for])[0]
        if math.isinf(outlook.warn_s):
            return _Plan(interval_s, length_mm)
        length_mm = _half_mm(1.2 * length_mm)
    return None


def _half_mm(length_mm: float) -> float:
    return math.ceil(2.0 * length_mm) / 2.0
