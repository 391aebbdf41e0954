"""Running ahead: when each strand would pass its limits, and how it would stand in the end, if a given future came.

A future is a list of stretches, each with walls that run linearly and feed that runs evenly. States are immutable, so a
look ahead cannot disturb the watch. It goes strand by strand, because strands do not heat each other, with steps that
grow while nothing changes. Knows nothing of plans or alerts.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np

from monitor.core.assessment import Array
from monitor.core.field import Field
from monitor.core.field_state import FieldState

_FIRST_STEP_S: Final = 4.0
_SETTLED_S: Final = 64.0  # the slowest exchange takes some 10 s
_MOST_RISE_K: Final = 4.0  # of any wall within a step: the dose then errs by less than a percent
_MOST_RETRACTED_MM: Final = 10.0  # after a long feed; what lies further beyond the merge point is not followed
_NEVER: Final = math.inf


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """A part of the future.

    Parameters
    ----------
    length_s : float
        How long it lasts, above 0 [s].
    walls_c : Array
        Wall vector at its end; the walls run there linearly [°C].
    feed_mm : tuple of float
        What each strand feeds within it, negative for a retraction [mm].
    """

    length_s: float
    walls_c: Array
    feed_mm: tuple[float, ...]


class Limits(NamedTuple):
    """Doses of one strand to look out for [min at its reference temperatures]."""

    warn_min: float
    limit_min: float
    softening_warn_min: float
    softening_limit_min: float


class StrandOutlook(NamedTuple):
    """What would come of one strand: when each limit is first passed [s from now, inf if never], and its last doses."""

    warn_s: float
    limit_s: float
    softening_warn_s: float
    softening_limit_s: float
    dose_min: float
    softening_min: float


class _Moment(NamedTuple):
    time_s: float
    doses_min: tuple[float, float]  # degradation and softening, highest of the strand


def look_ahead(
    field: Field, state: FieldState, future: Sequence[Stretch], limits: Sequence[Limits]
) -> tuple[StrandOutlook, ...]:
    """Outlook of every strand.

    Parameters
    ----------
    field, state
        The model, and where it stands now.
    future : Sequence[Stretch]
        What is to come, in order.
    limits : Sequence[Limits]
        One for each strand.

    Notes
    -----
    Within a step the dose is taken to grow evenly, which is exact for a strand that has settled.
    """
    return tuple(
        _strand_outlook(
            field.of(strand), field.state_of(state, strand), _own(future, strand, state.walls_c), limits[strand]
        )
        for strand in range(len(field.strands))
    )


def _own(future: Sequence[Stretch], strand: int, walls_c: Array) -> list[Stretch]:
    """The future of one strand; stretches in which it stands and the walls stay as they are become one."""
    joined: list[Stretch] = []
    was_still = False
    for stretch in future:
        own = Stretch(stretch.length_s, stretch.walls_c, stretch.feed_mm[strand : strand + 1])
        is_still = own.feed_mm == (0.0,) and np.array_equal(own.walls_c, walls_c)
        if is_still and was_still:
            own = Stretch(joined.pop().length_s + own.length_s, own.walls_c, own.feed_mm)
        joined.append(own)
        was_still, walls_c = is_still, stretch.walls_c
    return joined


def _strand_outlook(field: Field, state: FieldState, future: Sequence[Stretch], limits: Limits) -> StrandOutlook:
    passed_s = [_NEVER] * 4
    end = _moment(field, 0.0, state)
    for before, after in pairwise(_moments(field, state, future)):
        for index, limit_min in enumerate(limits):
            if passed_s[index] == _NEVER:
                passed_s[index] = _passed_s(before, after, index // 2, limit_min)
        end = after
    warn_s, limit_s, softening_warn_s, softening_limit_s = passed_s
    return StrandOutlook(warn_s, limit_s, softening_warn_s, softening_limit_s, *end.doses_min)


def _passed_s(before: _Moment, after: _Moment, kind: int, limit_min: float) -> float:
    low_min, high_min = before.doses_min[kind], after.doses_min[kind]
    if low_min > limit_min:
        return before.time_s
    if high_min <= limit_min:
        return _NEVER
    return before.time_s + (limit_min - low_min) / (high_min - low_min) * (after.time_s - before.time_s)


def _moments(field: Field, state: FieldState, future: Sequence[Stretch]) -> Iterator[_Moment]:
    time_s = 0.0
    yield _moment(field, time_s, state)
    for stretch in future:
        start_c = state.walls_c
        done_s, state = _hurried(field, state, stretch)
        speed_mm_s = stretch.feed_mm[0] / stretch.length_s
        for step_s in _steps(field, stretch, start_c, stretch.length_s - done_s):
            done_s += step_s
            walls_c = start_c + (stretch.walls_c - start_c) * (done_s / stretch.length_s)
            state = field.advance(state, step_s, walls_c, [speed_mm_s * step_s])
            yield _moment(field, time_s + done_s, state)
        time_s += stretch.length_s


def _hurried(field: Field, state: FieldState, stretch: Stretch) -> tuple[float, FieldState]:
    """Skip the first part of a long feed, of which nothing is remembered: how long it took, and the state after."""
    feed_mm = stretch.feed_mm[0]
    path_mm = field.grid.cells * field.grid.cell_mm
    skip_mm = feed_mm - min(field.tail_mm(feed_mm), path_mm + _MOST_RETRACTED_MM)
    if skip_mm == 0.0:
        return 0.0, state
    share = skip_mm / feed_mm
    walls_c = state.walls_c + share * (stretch.walls_c - state.walls_c)
    at_walls = state._replace(walls_c=walls_c, walls=field.points.facts(walls_c))
    return share * stretch.length_s, field.skipped(at_walls, [skip_mm])


def _steps(field: Field, stretch: Stretch, start_c: Array, total_s: float) -> Iterator[float]:
    """Steps through what is left of a stretch.

    They double until a strand has settled, and are short while walls change. One that moves fast settles by moving.
    """
    rise_k = float(np.abs(stretch.walls_c - start_c).max())
    longest_s = stretch.length_s * _MOST_RISE_K / rise_k if rise_k > 0.0 else math.inf
    is_fast = abs(stretch.feed_mm[0]) / stretch.length_s > field.grid.cell_mm / _FIRST_STEP_S
    step_s = min(math.inf if is_fast else _FIRST_STEP_S, longest_s)
    while total_s > step_s:
        yield step_s
        total_s -= step_s
        step_s = min(2 * step_s if step_s < _SETTLED_S else math.inf, longest_s)
    if total_s > 0.0:
        yield total_s


def _moment(field: Field, time_s: float, state: FieldState) -> _Moment:
    return _Moment(time_s, (field.oldest_min(state)[0], field.softest_min(state)[0]))
