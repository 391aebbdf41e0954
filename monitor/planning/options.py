"""What to change so that all strands survive: set points, withdrawals, purges, moves that keep strands fresh.

Each option is the build with some changes, run forward and judged; beside each other they show what waste buys what
risk. Nothing is chosen for the owner: the first that saves every strand is marked as the cheapest that does.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from monitor.build_file.schedule import BuildSchedule
from monitor.core.aged_part import whole_mm
from monitor.core.engine_state import Model, initial_state
from monitor.core.field_state import FieldState
from monitor.core.keep_moving import moves
from monitor.core.readings import wall_vector
from monitor.core.set_point import MARGIN_K
from monitor.planning.course import Advance, Change, Course, feed_of, first_feed_s, sets_manifold, times_of, walls_of
from monitor.planning.forward_run import PERIOD_S, Run, planned_model, run_forward
from monitor.planning.grams import grams_of
from monitor.planning.set_point_course import PURGED_BEFORE_S, lowest_single, set_points
from monitor.planning.settings import PlanSettings
from monitor.planning.verdicts import BADNESS, SLACK_K, Outcome, Verdict, machine_faults, verdicts

COARSE_S: Final = 32.0
"""Time between samples of options that are only compared [s]."""
_SHORTEST_S: Final = (7200.0, 2400.0, 600.0)
"""How long a set point has to pay, beside its ramps, before it is worth a change [s]: few changes first."""
_MOST_SET_POINTS: Final = 24
"""More than so many lines nobody edits into a file."""
_SECONDS_PER_ADVANCE: Final = 25.0
"""What moving to a place for waste and back costs [s]. Judgement."""


@dataclass(frozen=True, slots=True)
class Changes:
    """What is done differently from the file; empty: nothing.

    Parameters
    ----------
    set_points : tuple of Change
        All set points of the manifold; empty: as they are.
    withdrawn_s : Mapping[int, float]
        Inputs whose strand is withdrawn, and when [s].
    advances : tuple of Advance
        Strand fed into waste.
    """

    set_points: tuple[Change, ...] = ()
    withdrawn_s: Mapping[int, float] = field(default_factory=dict)
    advances: tuple[Advance, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Option:
    """A build with changes, and what comes of it."""

    name: str
    changes: Changes
    run: Run
    verdicts: tuple[Verdict, ...]
    faults: tuple[str, ...]
    waste_g: float
    waste_s: float

    @property
    def worst(self) -> Outcome:
        """What comes of the strand that fares worst."""
        return max((verdict.outcome for verdict in self.verdicts), key=BADNESS.__getitem__)

    @property
    def is_safe(self) -> bool:
        """Whether every strand survives without more being done."""
        return BADNESS[self.worst] <= BADNESS[Outcome.SURVIVES] and not self.faults

    @property
    def warned(self) -> int:
        """How many strands in use pass their warn dose."""
        return sum(verdict.is_warned for verdict in self.verdicts)

    @property
    def risk(self) -> float:
        """Highest share of its limit that a strand in use has [-]."""
        return max((verdict.share for verdict in self.verdicts if verdict.outcome is not Outcome.UNUSED), default=0.0)


@dataclass(frozen=True, slots=True, eq=False)
class Build:
    """A build on a machine, ready to be tried with changes."""

    model: Model
    schedule: BuildSchedule
    settings: PlanSettings
    file_changes: tuple[Change, ...]
    manifold: str

    def tried(self, name: str, changes: Changes, period_s: float = PERIOD_S) -> Option:
        """Run the build with changes."""
        return self.judged(name, changes, run_forward(self.model, self.schedule, self.course(changes, period_s)))

    def judged(self, name: str, changes: Changes, run: Run) -> Option:
        """Judge a run of the build with these changes."""
        waste_g = grams_of(self.model.parameters, changes.advances)
        return Option(
            name,
            changes,
            run,
            verdicts(self.model, run, changes.withdrawn_s),
            (*machine_faults(self.model, run), *_cold_advances(self.model, run, changes.advances)),
            waste_g,
            _SECONDS_PER_ADVANCE * len(changes.advances),
        )

    def course(self, changes: Changes, period_s: float) -> Course:
        """Feed and walls of the build with changes."""
        parameters, times_s = self.model.parameters, times_of(self.schedule, period_s)
        others = [change for change in self.file_changes if change.sensor != self.manifold]
        own = changes.set_points or tuple(change for change in self.file_changes if change.sensor == self.manifold)
        feed_mm = feed_of(self.schedule, parameters, times_s, changes.advances)
        walls_c = walls_of([*others, *own], parameters, self.settings, times_s, first_feed_s(self.schedule))
        return Course(times_s, feed_mm, walls_c)

    def advanced(self, name: str, base: Option, changes: Changes, period_s: float) -> Option:
        """Run anew only those strands that are fed beside what `base` feeds: strands do not heat each other.

        Where the cold end is reckoned from all of them they do; then all are run.
        """
        if self.model.cold_end is not None:
            return self.tried(name, changes, period_s)
        inputs = {advance.input for advance in changes.advances} | {advance.input for advance in base.changes.advances}
        strands = tuple(strand for strand in self.model.parameters.strands if strand.input in inputs)
        part = replace(self, model=planned_model(replace(self.model.parameters, strands=strands)))
        run = run_forward(part.model, self.schedule, part.course(changes, period_s))
        anew = {strand.input: strand for strand in run.strands}
        both = tuple(anew.get(strand.input, strand) for strand in base.run.strands)
        return self.judged(name, changes, replace(base.run, strands=both))

    @property
    def used(self) -> tuple[int, ...]:
        """Places of the strands that the build feeds."""
        strands = self.model.parameters.strands
        return tuple(place for place, strand in enumerate(strands) if self.schedule.of_input(strand.input) is not None)

    @property
    def sets_manifold(self) -> bool:
        """Whether the file itself sets the manifold."""
        return sets_manifold(self.file_changes, self.model.parameters)

    def single(self, set_c: float) -> Changes:
        """One set point for the whole build."""
        return Changes(set_points=(Change(0.0, self.manifold, set_c),))


def options(build: Build, as_planned: Option) -> Iterator[Option]:
    """Options, from the plainest to the most thorough; nothing but the build as it is where that is safe."""
    yield as_planned
    if not build.used or as_planned.is_safe:
        return
    bases = []
    for name, points in _set_points(build):
        bases.append(build.tried(name, Changes(set_points=points), COARSE_S))
        yield bases[-1]
    for base in bases:
        yield from _thorough(build, base)


def _set_points(build: Build) -> Iterator[tuple[str, tuple[Change, ...]]]:
    """One set point for all of the build, then more and more, each worth its change."""
    single = build.single(lowest_single(build.model, build.used)).set_points
    yield f"manifold at {single[0].set_c:.0f} °C", single
    known = {single}
    times_s = times_of(build.schedule, PERIOD_S)
    for shortest_s in _SHORTEST_S:
        points = tuple(set_points(build.model, build.schedule, times_s, build.manifold, build.settings, shortest_s))
        if points not in known and len(points) <= _MOST_SET_POINTS:
            known.add(points)
            yield _count(len(points), "set point"), points


def _thorough(build: Build, base: Option) -> Iterator[Option]:
    """Beside set points: strands withdrawn after their last use; then either kept moving, or purged before use."""
    withdrawn = {it.input: it.withdraw_by_s[0] for it in base.verdicts if it.withdraw_by_s is not None}
    if withdrawn:
        name = f"{base.name}, {_count(len(withdrawn), 'strand')} withdrawn"
        base = build.judged(name, Changes(base.changes.set_points, withdrawn), base.run)
        yield base
    for manner, advances in (("purged before use", _purged(base)), ("kept moving", _kept_moving(build, base))):
        found = () if base.is_safe else tuple(advances)
        if found:
            yield build.advanced(f"{base.name}, {manner}", base, _with(base.changes, found), COARSE_S)


def _with(changes: Changes, advances: Iterable[Advance]) -> Changes:
    return Changes(changes.set_points, changes.withdrawn_s, (*changes.advances, *advances))


def _rank(option: Option) -> tuple[int, int, float]:
    """Fewest strands lost first, then the least risk."""
    lost = sum(BADNESS[verdict.outcome] > BADNESS[Outcome.SURVIVES] for verdict in option.verdicts)
    return len(option.faults), lost, round(option.risk, 3)


def cheapest(tried: Iterable[Option]) -> Option | None:
    """Of the options that save every strand the quietest, then that with the least waste, then the fewest changes.

    Quiet is a night in which no strand passes its warn dose: the watch would wake its owner for that. None without any.
    """
    safe = [option for option in tried if option.is_safe]
    return min(
        safe,
        key=lambda option: (
            option.warned,
            option.waste_g,
            len(option.changes.withdrawn_s) + len(option.changes.set_points),
            option.risk,
        ),
        default=None,
    )


def _cold_advances(model: Model, run: Run, advances: Iterable[Advance]) -> Iterator[str]:
    """The first strand that is fed into waste while it is too cold to feed."""
    place = {strand.input: index for index, strand in enumerate(model.parameters.strands)}
    for advance in advances:
        wall_c = float(np.interp(advance.time_s, run.times_s, run.merge_c))
        least_c = model.min_feed_c[place[advance.input]]
        if wall_c < least_c + MARGIN_K - SLACK_K:
            yield f"input {advance.input} would be moved at {wall_c:.0f} °C, too near the {least_c:.0f} °C it needs"
            return


def nearest(tried: Iterable[Option]) -> Option:
    """The option that leaves the least to be done: for when none saves all."""
    return min(tried, key=_rank)


def _purged(option: Option) -> Iterator[Advance]:
    """The aged part of every strand that needs it, fed into waste just before its use."""
    for verdict in option.verdicts:
        for purge in verdict.purges:
            yield Advance(max(0.0, purge.time_s - PURGED_BEFORE_S), verdict.input, purge.length_mm)


def _kept_moving(build: Build, option: Option) -> Iterator[Advance]:
    """Small moves of every strand in trouble, wherever it stands for longer than their interval."""
    hot = _hot_state(build, option)
    for verdict in option.verdicts:
        if verdict.outcome not in {Outcome.LOST, Outcome.PURGE}:
            continue
        place = next(at for at, it in enumerate(build.model.parameters.strands) if it.input == verdict.input)
        plan = moves(build.model.field, hot, place, build.model.parameters.filament_diameter_mm)
        if plan is not None and plan.length_mm > 0.0:
            for begin_s, end_s in _gaps(option.run, place):
                time_s = begin_s + plan.interval_s
                while time_s < end_s:
                    yield Advance(time_s, verdict.input, whole_mm(plan.length_mm))
                    time_s += plan.interval_s


def _gaps(run: Run, place: int) -> Iterator[tuple[float, float]]:
    """Times between the uses of a strand, the time before its first use included; not that after the last."""
    ends_s = [0.0, *(use.end_s for use in run.strands[place].uses)]
    yield from ((end_s, use.start_s) for end_s, use in zip(ends_s, run.strands[place].uses, strict=False))


def _hot_state(build: Build, option: Option) -> FieldState:
    """Fresh strands at the hottest walls of a run."""
    course = build.course(option.changes, PERIOD_S)
    hottest_c = course.walls_c.max(axis=0).tolist()
    sensors = tuple(
        sensor._replace(temp_c=temp_c)
        for sensor, temp_c in zip(initial_state(build.model).sensors, hottest_c, strict=True)
    )
    return build.model.field.initial(wall_vector(sensors, build.model.parameters, 0.0))


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
