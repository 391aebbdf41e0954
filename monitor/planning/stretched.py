"""A schedule run slower than planned: the same build at the slow end of its time, when strands stand longer."""

from dataclasses import replace

from monitor.build_file.schedule import BuildSchedule, InputPlan, Marks, TimeRange
from monitor.planning.options import COARSE_S, Build, Changes, Option


def stretched(schedule: BuildSchedule, factor: float) -> BuildSchedule:
    """The schedule with all its times multiplied.

    Raises
    ------
    ValueError
        If the factor is not above 0.
    """
    if not factor > 0.0:
        raise ValueError(f"factor is {factor}; allowed: above 0")
    marks, duration = schedule.marks, schedule.duration
    return replace(
        schedule,
        duration=TimeRange(*(factor * part for part in duration)),
        inputs=tuple(_slower(plan, factor) for plan in schedule.inputs),
        set_points=tuple(point._replace(time_s=factor * point.time_s) for point in schedule.set_points),
        pauses=tuple(pause._replace(time_s=factor * pause.time_s) for pause in schedule.pauses),
        layers=tuple(layer._replace(time_s=factor * layer.time_s) for layer in schedule.layers),
        marks=Marks(marks.line, marks.byte, factor * marks.time_s),
    )


def slow_end(schedule: BuildSchedule) -> float:
    """How much longer than reckoned the build may take [-]."""
    return schedule.duration.high_s / schedule.duration.planned_s if schedule.duration.planned_s > 0.0 else 1.0


def _slower(plan: InputPlan, factor: float) -> InputPlan:
    rows = plan.stretches
    return replace(
        plan,
        stretches=replace(rows, start_s=factor * rows.start_s, end_s=factor * rows.end_s),
        first_s=factor * plan.first_s,
        last_s=factor * plan.last_s,
        gap_s=factor * plan.gap_s,
        gap_start_s=factor * plan.gap_start_s,
    )


def at_slow_end(build: Build, option: Option) -> Option:
    """The same option in a build that takes as long as its range allows; what is done at a place comes later too."""
    factor = slow_end(build.schedule)
    slower = replace(
        build,
        schedule=stretched(build.schedule, factor),
        file_changes=tuple(change._replace(time_s=factor * change.time_s) for change in build.file_changes),
    )
    changes = Changes(
        tuple(change._replace(time_s=factor * change.time_s) for change in option.changes.set_points),
        {number: factor * time_s for number, time_s in option.changes.withdrawn_s.items()},
        tuple(advance._replace(time_s=factor * advance.time_s) for advance in option.changes.advances),
    )
    return slower.tried(f"{option.name}, slow", changes, COARSE_S)
