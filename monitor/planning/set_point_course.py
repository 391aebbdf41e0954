"""When the manifold must be how hot: the least it can be at every moment of a build, and few set points that do it.

Each stretch of the build asks for what its strands need. A set point costs a line in the file and a change of the
machine's temperature, and a block takes its time, so valleys too short to pay are filled.
"""

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np

from monitor.build_file.schedule import BuildSchedule
from monitor.core.assessment import Array
from monitor.core.engine_state import Model
from monitor.core.set_point import MARGIN_K
from monitor.planning.course import Change
from monitor.planning.settings import PlanSettings

PURGED_BEFORE_S: Final = 180.0
"""Aged strand is purged this long before its use [s]."""
_EARLY_S: Final = PURGED_BEFORE_S + 60.0
"""The block is hot enough this long before a strand feeds: that may have to be purged; a plan's times are uncertain."""


def needs_of(model: Model, schedule: BuildSchedule, times_s: Array) -> Array:
    """Lowest manifold temperature at which what feeds then can be pushed; minus infinity where nothing feeds [°C]."""
    needed_c = np.full(len(times_s), -np.inf)
    for strand in model.parameters.strands:
        plan = schedule.of_input(strand.input)
        if plan is None:
            continue
        feeding = plan.stretches.new_mm > 0.0
        for start_s, end_s in zip(plan.stretches.start_s[feeding], plan.stretches.end_s[feeding], strict=True):
            low, high = np.searchsorted(times_s, [start_s - _EARLY_S, end_s])
            part = slice(max(0, int(low) - 1), int(high) + 1)
            needed_c[part] = np.maximum(needed_c[part], strand.material.min_feed_c + MARGIN_K)
    return needed_c


def lowest_single(model: Model, used: Sequence[int]) -> float:
    """Lowest set point at which every strand that is used can feed [°C]."""
    return max(_whole_up(model.min_feed_c[index] + MARGIN_K) for index in used)


def set_points(
    model: Model, schedule: BuildSchedule, times_s: Array, sensor: str, settings: PlanSettings, shortest_s: float
) -> list[Change]:
    """Set points through the build that are hot enough for what feeds, each kept for `shortest_s` or longer.

    Stretches ask for what their strands need; one that is too short takes the set point of its hotter neighbour.
    """
    needed_c = needs_of(model, schedule, times_s)
    levels = _filled(needed_c)
    steps = _stretches(levels)
    while True:
        short = _too_short(steps, times_s, shortest_s, settings)
        if short is None:
            break
        steps = _merged(steps, short)
    return list(_changes(steps, times_s, sensor, settings))


_Step = tuple[int, int, float]  # first and last index, level [°C]


def _filled(needed_c: Array) -> Array:
    """Where nothing feeds, the lower of the needs before and after: it has to be gone through anyway."""
    known = np.isfinite(needed_c)
    if not known.any():
        return needed_c
    places = np.arange(len(needed_c))
    before = needed_c[np.maximum.accumulate(np.where(known, places, np.argmax(known)))]
    after = needed_c[np.minimum.accumulate(np.where(known, places, places[known][-1])[::-1])[::-1]]
    return np.where(known, needed_c, np.minimum(before, after))


def _stretches(levels: Array) -> list[_Step]:
    edges = [0, *(np.flatnonzero(np.diff(levels)) + 1).tolist(), len(levels)]
    return [(low, high - 1, float(levels[low])) for low, high in pairwise(edges)]


def _too_short(steps: list[_Step], times_s: Array, shortest_s: float, settings: PlanSettings) -> int | None:
    """The shortest stretch that does not pay; of hills none, which are needed, unless they are next to a valley.

    A valley must last for `shortest_s` beside the time that cooling and heating take.
    """
    found: list[tuple[float, int]] = []
    for place, (low, high, level) in enumerate(steps):
        beside = [steps[other][2] for other in (place - 1, place + 1) if 0 <= other < len(steps)]
        if not beside or level >= max(beside):
            continue
        depth_k = max(beside) - level
        ramps_s = depth_k * (1.0 / settings.cools_k_s + 1.0 / settings.heats_k_s)
        lasts_s = float(times_s[high] - times_s[low])
        if lasts_s < shortest_s + ramps_s:
            found.append((lasts_s, place))
    return min(found)[1] if found else None


def _merged(steps: list[_Step], place: int) -> list[_Step]:
    """The stretch raised to its lower higher neighbour, and equal neighbours joined."""
    low, high, level = steps[place]
    higher = [
        steps[other][2] for other in (place - 1, place + 1) if 0 <= other < len(steps) and steps[other][2] > level
    ]
    raised = [*steps[:place], (low, high, min(higher)), *steps[place + 1 :]]
    joined: list[_Step] = []
    for step in raised:
        if joined and joined[-1][2] == step[2]:
            joined[-1] = (joined[-1][0], step[1], step[2])
        else:
            joined.append(step)
    return joined


def _changes(steps: list[_Step], times_s: Array, sensor: str, settings: PlanSettings) -> list[Change]:
    """Set points, a rise as much earlier as heating takes."""
    changes, before_c = [], -math.inf
    for low, _, level in steps:
        set_c = _whole_up(level)
        early_s = (set_c - before_c) / settings.heats_k_s if math.isfinite(before_c) and set_c > before_c else 0.0
        changes.append(Change(max(0.0, float(times_s[low]) - early_s), sensor, set_c))
        before_c = set_c
    return changes


def _whole_up(temp_c: float) -> float:
    return float(math.ceil(temp_c - 1e-9))
