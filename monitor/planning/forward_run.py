"""The engine run over a planned build: how aged each strand is at every moment, and before each of its uses.

The same engine as live, with expected walls and planned feed; nothing is missing, so nothing is stale. Decides nothing.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.build_file.schedule import BuildSchedule, InputPlan
from monitor.core.aged_part import aged_mm, softened_mm, whole_mm
from monitor.core.assessment import Array
from monitor.core.engine import advance
from monitor.core.engine_state import EngineState, Model, build_model, initial_state
from monitor.core.field_state import FieldState
from monitor.core.parameters import Drive, Parameters
from monitor.planning.course import Course, samples

PERIOD_S: Final = 16.0
"""Time between samples [s]: times of limits are this coarse; doses differ by less than 1 % from those of 1 s."""
USE_AFTER_S: Final = 60.0
"""A strand that stood this long begins a new use [s]."""
_NEVER_STALE_S: Final = 1e7


class Use(NamedTuple):
    """One use of a strand after it has stood.

    Parameters
    ----------
    start_s, end_s : float
        Of its feed [s].
    new_mm : float
        New strand fed in it [mm].
    stood_s : float
        How long it stood hot before [s].
    dose_min : float
        Highest dose on the way to the merge point just before [min at the material's reference temperature].
    aged_mm : float
        Feed until no material past half the warn dose is left upstream of the merge point [mm].
    soft_min : float
        Softening dose just before [min].
    coldest_c : float
        Coldest wall at the merge point while it feeds [°C].
    """

    start_s: float
    end_s: float
    new_mm: float
    stood_s: float
    dose_min: float
    aged_mm: float
    soft_min: float
    coldest_c: float


@dataclass(frozen=True, slots=True, eq=False)
class StrandRun:
    """What a planned build does to one strand; arrays run along the run's times."""

    input: int
    dose_min: Array
    soft_min: Array
    uses: tuple[Use, ...]
    warn_s: float | None  # when it first passes its warn dose
    limit_s: float | None
    last_s: float | None  # end of its last use; None if the build never uses it


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """What a planned build does to all strands."""

    times_s: Array
    merge_c: Array  # wall at the merge point
    strand_c: Array  # hottest wall where a strand may stand
    liners_c: Array  # hottest of each watched liner, shape (samples, liners)
    strands: tuple[StrandRun, ...]


def planned_model(parameters: Parameters) -> Model:
    """The engine's model for a build that is only planned: no reports to miss, no encoders, no heater's balance."""
    limits = replace(parameters.limits, stale_after_s=_NEVER_STALE_S, unavailable_after_s=2 * _NEVER_STALE_S)
    strands = tuple(replace(strand, drive=Drive()) for strand in parameters.strands)
    return build_model(replace(parameters, limits=limits, strands=strands, heaters=()))


def run_forward(model: Model, schedule: BuildSchedule, course: Course, start: EngineState | None = None) -> Run:
    """Run the engine over a course.

    Parameters
    ----------
    model : Model
        Of `planned_model`.
    schedule : BuildSchedule
        Tells when which strand is used.
    course : Course
        Feed and walls; its first time is the start's.
    start : EngineState or None
        Where the strands stand at the beginning; None for a machine that is cold and loaded with fresh strand.
    """
    records = _Records(model, _uses(model, schedule, course))
    is_plain = start is None and model.cold_end is None
    fields = _bare_fields(model, course) if is_plain else _engine_fields(model, course, start)
    before = None if start is None else start.field
    for index, field in enumerate(fields):
        records.look(index, before)
        records.keep(field)
        before = field
    return records.run(course)


def _engine_fields(model: Model, course: Course, start: EngineState | None) -> Iterator[FieldState | None]:
    """The field after each sample, by the engine itself."""
    state = initial_state(model) if start is None else start
    for sample in samples(course, model.parameters):
        state, _ = advance(model, state, sample)
        yield state.field


def _bare_fields(model: Model, course: Course) -> Iterator[FieldState]:
    """The same where all walls are told and nobody waits for alerts: what the engine does with its field, no more."""
    ambient = np.full((len(course.times_s), 1), model.parameters.ambient_c)
    walls_c = np.hstack([ambient, course.walls_c])
    feed_mm = np.diff(course.feed_mm, axis=0).tolist()
    step_s = np.diff(course.times_s).tolist()
    field = model.field.initial(walls_c[0])
    yield field
    for length_s, wall_c, fed_mm in zip(step_s, walls_c[1:], feed_mm, strict=True):
        field = model.field.advance(field, length_s, wall_c, fed_mm)
        yield field


class _Planned(NamedTuple):
    strand: int
    start_s: float
    end_s: float
    new_mm: float
    stood_s: float
    begins: int  # index of the sample with which it begins


def _uses(model: Model, schedule: BuildSchedule, course: Course) -> list[_Planned]:
    uses = [
        use
        for strand, loaded in enumerate(model.parameters.strands)
        if (plan := schedule.of_input(loaded.input)) is not None
        for use in _uses_of(strand, plan, course.times_s)
    ]
    return sorted(uses, key=lambda use: use.begins)


def _uses_of(strand: int, plan: InputPlan, times_s: Array) -> Iterator[_Planned]:
    """Feeding stretches of one strand, joined where it hardly stood between."""
    rows = np.flatnonzero(plan.stretches.new_mm > 0.0)
    start_s, end_s, new_mm = (
        array[rows] for array in (plan.stretches.start_s, plan.stretches.end_s, plan.stretches.new_mm)
    )
    if not rows.size:
        return
    stood_s = np.concatenate([[start_s[0]], start_s[1:] - end_s[:-1]])
    begins = np.flatnonzero(np.concatenate([[True], stood_s[1:] >= USE_AFTER_S]))
    for low, high in zip(begins.tolist(), [*begins[1:].tolist(), len(rows)], strict=True):
        index = int(np.searchsorted(times_s, start_s[low]))
        yield _Planned(
            strand,
            float(start_s[low]),
            float(end_s[high - 1]),
            float(new_mm[low:high].sum()),
            float(stood_s[low]),
            index,
        )


class _Walls(NamedTuple):
    merge_c: float
    strand_c: float
    liners_c: tuple[float, ...]


class _Records:
    """What is kept of every step."""

    def __init__(self, model: Model, uses: list[_Planned]) -> None:
        self._model = model
        self._waiting = uses[::-1]
        self._before: dict[int, list[tuple[_Planned, float, float, float]]] = {}
        self._doses: list[list[float]] = []
        self._softs: list[list[float]] = []
        self._walls: list[_Walls] = []

    def look(self, index: int, state: FieldState | None) -> None:
        """Look at the strands that are about to be used."""
        while self._waiting and self._waiting[-1].begins <= index:
            use = self._waiting.pop()
            self._before.setdefault(use.strand, []).append((use, *self._aged(use.strand, state)))

    def _aged(self, strand: int, state: FieldState | None) -> tuple[float, float, float]:
        field = self._model.field
        if state is None:
            return 0.0, 0.0, 0.0
        dose_min, soft_min = field.oldest_min(state)[strand], field.softest_min(state)[strand]
        warn_min = self._model.parameters.strands[strand].material.warn_min
        reach_mm = max(
            aged_mm(field, state, strand, warn_min / 2),
            softened_mm(field, state, strand, self._model.parameters.limits.softening_warn_min / 2),
        )
        return float(dose_min), whole_mm(reach_mm), float(soft_min)

    def keep(self, state: FieldState | None) -> None:
        """Keep doses and walls of a step."""
        field, count = self._model.field, len(self._model.feeds)
        if state is None:
            self._doses.append([0.0] * count)
            self._softs.append([0.0] * count)
            ambient_c = self._model.parameters.ambient_c
            self._walls.append(_Walls(ambient_c, ambient_c, (ambient_c,) * len(self._model.liner_zones)))
            return
        self._doses.append(list(field.oldest_min(state)))
        self._softs.append(list(field.softest_min(state)))
        walls = state.walls
        self._walls.append(_Walls(walls.merge_c, walls.strand_c, walls.liners_c))

    def run(self, course: Course) -> Run:
        """Put it all together."""
        merge_c = np.array([walls.merge_c for walls in self._walls])
        strand_c = np.array([walls.strand_c for walls in self._walls])
        liners_c = np.array([walls.liners_c for walls in self._walls])
        doses, softs = np.array(self._doses), np.array(self._softs)
        strands = tuple(
            self._strand(index, course.times_s, doses[:, index], softs[:, index], merge_c)
            for index in range(len(self._model.feeds))
        )
        return Run(course.times_s, merge_c, strand_c, liners_c, strands)

    def _strand(self, index: int, times_s: Array, dose_min: Array, soft_min: Array, merge_c: Array) -> StrandRun:
        material = self._model.parameters.strands[index].material
        uses = tuple(
            Use(
                use.start_s,
                use.end_s,
                use.new_mm,
                use.stood_s,
                dose,
                reach_mm,
                soft,
                float(merge_c[(times_s >= use.start_s) & (times_s <= use.end_s + PERIOD_S)].min(initial=np.inf)),
            )
            for use, dose, reach_mm, soft in self._before.get(index, [])
        )
        return StrandRun(
            self._model.parameters.strands[index].input,
            dose_min,
            soft_min,
            uses,
            _first_s(times_s, dose_min > material.warn_min),
            _first_s(times_s, dose_min > material.limit_min),
            uses[-1].end_s if uses else None,
        )


def _first_s(times_s: Array, is_past: NDArray[np.bool_]) -> float | None:
    return float(times_s[int(np.argmax(is_past))]) if is_past.any() else None
