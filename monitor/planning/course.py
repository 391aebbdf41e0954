"""A build as the engine will live through it: feed of every strand and temperature of every wall, at even times.

Made from a build file's schedule and a list of set points. Knows nothing of doses.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from connectors.telemetry import Execution, Sample, channel
from monitor.build_file.schedule import BuildSchedule, Heater, Stretches
from monitor.core.assessment import Array
from monitor.core.hot_path import merge_sensors
from monitor.core.parameters import Parameters, WallLaw
from monitor.planning.settings import PlanSettings

COLD_END_ABOVE_AMBIENT_K: Final = 12.0
_HEATED_BEFORE_S: Final = 60.0


class Change(NamedTuple):
    """A set point that a sensor's heater is given at a planned time [s, °C].

    `waits`: the build goes on once it is there. Planned times have that time in them, so the wall is there at once.
    """

    time_s: float
    sensor: str
    set_c: float
    waits: bool = False


class Advance(NamedTuple):
    """Strand that is fed into waste, beside what the build feeds [s, mm]."""

    time_s: float
    input: int
    length_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """What the engine is told, sample by sample.

    Parameters
    ----------
    times_s : Array
        Evenly spaced [s].
    feed_mm : Array
        Cumulative net feed, shape (samples, strands) [mm].
    walls_c : Array
        Temperature of every sensor of the parameters, shape (samples, sensors) [°C].
    """

    times_s: Array
    feed_mm: Array
    walls_c: Array


def samples(course: Course, parameters: Parameters) -> Iterator[Sample]:
    """The course as events."""
    feeds = [channel("fed_mm", strand.input) for strand in parameters.strands]
    sensed = [(place, channel("temp_c", name)) for place, name in enumerate(parameters.sensors_needed)]
    places = [parameters.sensors.index(name) for name in parameters.sensors_needed]
    rows = zip(course.times_s.tolist(), course.feed_mm.tolist(), course.walls_c[:, places].tolist(), strict=True)
    for time_s, fed_mm, walls_c in rows:
        values = dict(zip(feeds, fed_mm, strict=True))
        values.update((name, walls_c[place]) for place, name in sensed)
        yield Sample(time_s, values, Execution.ACTIVE)


def times_of(schedule: BuildSchedule, period_s: float) -> Array:
    """Even times from the start of a build to its end [s]."""
    return np.arange(0.0, schedule.duration.planned_s + period_s, period_s)


def feed_of(schedule: BuildSchedule, parameters: Parameters, times_s: Array, advances: Iterable[Advance] = ()) -> Array:
    """Cumulative net feed of every strand at these times [mm], advances included."""
    feed_mm = np.zeros((len(times_s), len(parameters.strands)))
    place = {strand.input: index for index, strand in enumerate(parameters.strands)}
    for plan in schedule.inputs:
        if plan.number in place:
            feed_mm[:, place[plan.number]] = _cumulative(plan.stretches, times_s)
    for advance in advances:
        feed_mm[times_s > advance.time_s, place[advance.input]] += advance.length_mm
    return feed_mm


def _cumulative(stretches: Stretches, times_s: Array) -> Array:
    edges_s = np.column_stack([stretches.start_s, stretches.end_s]).ravel()
    total_mm = np.cumsum(stretches.feed_mm)
    at_mm = np.column_stack([total_mm - stretches.feed_mm, total_mm]).ravel()
    return np.interp(times_s, np.maximum.accumulate(edges_s), at_mm, left=0.0)


def file_changes(schedule: BuildSchedule, parameters: Parameters, settings: PlanSettings) -> list[Change]:
    """Set points of the hot path that the file itself asks for, in order of time."""
    nozzle = parameters.sensors[-1]
    return [
        Change(point.time_s, settings.tool_sensors.get(point.number, nozzle), point.target_c, point.waits)
        for point in schedule.set_points
        if point.heater is Heater.TOOL and (point.number in settings.tool_sensors or not point.is_standby)
    ]


def sets_manifold(changes: Iterable[Change], parameters: Parameters) -> bool:
    """Whether any of these is for the wall at the merge point."""
    at_merge = merge_sensors(parameters)
    return any(change.sensor in at_merge and change.set_c > 0.0 for change in changes)


def first_feed_s(schedule: BuildSchedule) -> float:
    """When the build begins to feed [s]; 0 if it never does."""
    return min((plan.first_s for plan in schedule.inputs), default=0.0)


def walls_of(
    changes: Sequence[Change], parameters: Parameters, settings: PlanSettings, times_s: Array, heated_s: float = 0.0
) -> Array:
    """Temperature of every sensor at these times [°C]; what has no set point stays where it is.

    What is set until `heated_s` is there from the start: a machine is heated before it feeds, by the file or its owner.
    """
    walls_c = np.empty((len(times_s), len(parameters.sensors)))
    for place, sensor in enumerate(parameters.sensors):
        own = [change for change in changes if change.sensor == sensor]
        walls_c[:, place] = (
            _followed(own, parameters.ambient_c, settings, times_s, heated_s)
            if own
            else resting_c(sensor, parameters, settings)
        )
    return walls_c


def resting_c(sensor: str, parameters: Parameters, settings: PlanSettings) -> float:
    """What a sensor without a heater reads while all is well [°C]."""
    if parameters.estimated_sensor == sensor:
        return parameters.ambient_c
    is_cold_end = any(zone.sensor == sensor and zone.law is WallLaw.SENSOR for zone in parameters.zones)
    if not is_cold_end:
        return parameters.ambient_c
    return parameters.ambient_c + COLD_END_ABOVE_AMBIENT_K if settings.cold_end_c is None else settings.cold_end_c


def _followed(
    changes: Sequence[Change], start_c: float, settings: PlanSettings, times_s: Array, heated_s: float
) -> Array:
    """A wall that follows its set points at the rates of the settings; never below ambient."""
    before = [change for change in changes if change.time_s <= max(heated_s, _HEATED_BEFORE_S)]
    later = changes[len(before) :]
    at_s, at_c = [0.0], [max(before[-1].set_c, start_c) if before else start_c]
    ends_s = [change.time_s for change in later[1:]] + [float(times_s[-1]) + 1.0]
    for change, end_s in zip(later, ends_s, strict=False):
        begin_s, begin_c = max(change.time_s, at_s[-1]), at_c[-1]
        target_c = max(change.set_c, start_c)
        rate_k_s = settings.heats_k_s if target_c > begin_c else -settings.cools_k_s
        there_s = begin_s if change.waits else begin_s + (target_c - begin_c) / rate_k_s
        reached_c = target_c if there_s <= end_s else begin_c + rate_k_s * (end_s - begin_s)
        at_s += [begin_s, min(there_s, end_s), end_s]
        at_c += [begin_c, reached_c, reached_c]
    return np.interp(times_s, at_s, at_c)
