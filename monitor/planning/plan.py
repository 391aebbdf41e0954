"""A whole plan of one build: what comes of it as it is, what was tried, and which of that saves every strand cheapest.

Owns what a plan refuses, and what it takes for granted where the file is silent about the manifold.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from monitor.build_file.schedule import BuildSchedule
from monitor.core.hot_path import merge_sensors
from monitor.core.parameters import Parameters
from monitor.planning.course import Change, file_changes, sets_manifold
from monitor.planning.forward_run import planned_model
from monitor.planning.options import Build, Changes, Option, cheapest, nearest, options
from monitor.planning.set_point_course import lowest_single
from monitor.planning.settings import PlanSettings
from monitor.planning.stretched import at_slow_end, slow_end
from monitor.planning.verdicts import Outcome

LONGEST_S: Final = 14 * 86400.0
"""No build is planned that takes longer [s]: such a length is a slip in the file."""
_HARDLY_SLOWER: Final = 1.01
MOST_FEED_MM: Final = 1e7
"""Nor one that feeds more than ten kilometres of a strand [mm]."""


class CannotPlanError(Exception):
    """The build cannot be planned; the message says why, and what to do."""


class ManifoldBy(StrEnum):
    """Who says how hot the manifold is."""

    FILE = "the file"
    OWNER = "the owner"
    LOWEST = "the lowest at which all can feed"
    NOBODY = "nobody"


@dataclass(frozen=True, slots=True, eq=False)
class SlowEnd:
    """What comes of an option if the build takes as long as it may.

    Parameters
    ----------
    length_s : float
        How long that is [s].
    option : Option
        The option as it was planned.
    then : Option
        The same, judged at that length.
    safer : Option or None
        Where `then` is not safe: the one with the least risk, if it is safe even then.
    """

    length_s: float
    option: Option
    then: Option
    safer: Option | None


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """What was found.

    Parameters
    ----------
    build : Build
        The build on its machine.
    manifold_by : ManifoldBy
        Where the manifold's set points of the build as planned come from.
    manifold_c : float or None
        The one set point that was taken where the file does not say [°C].
    tried : tuple of Option
        The build as planned, then with changes.
    unloaded : tuple of (int, float)
        Inputs that the build feeds though no strand is loaded there, and how much [mm].
    slow : SlowEnd or None
        The cheapest safe option at the slow end of the build's time; None without one.
    """

    build: Build
    manifold_by: ManifoldBy
    manifold_c: float | None
    tried: tuple[Option, ...]
    unloaded: tuple[tuple[int, float], ...]
    slow: SlowEnd | None = None

    @property
    def as_planned(self) -> Option:
        """The build as its file has it."""
        return self.tried[0]

    @property
    def best(self) -> Option | None:
        """The cheapest that saves every strand; None when nothing does, or nothing was tried."""
        return cheapest(self.tried)

    @property
    def nearest(self) -> Option:
        """The option that loses least."""
        return nearest(self.tried)

    @property
    def lacks_strand(self) -> bool:
        """Whether the build feeds what is not there."""
        return bool(self.unloaded) or self.build.schedule.unassigned_mm > 0.0

    @property
    def survives(self) -> bool:
        """Whether the build can run as planned, with nothing more done."""
        return self.as_planned.is_safe and not self.lacks_strand

    @property
    def lost_in_all(self) -> tuple[int, ...]:
        """Inputs whose strand does not survive any option."""
        lost = [
            {verdict.input for verdict in option.verdicts if verdict.outcome is Outcome.LOST} for option in self.tried
        ]
        return tuple(sorted(set.intersection(*lost)))


def make_plan(
    build: Build,
    asked_c: float | None = None,
    *,
    with_options: bool = True,
    progress: Callable[[str], None] = lambda _: None,
) -> Plan:
    """Plan a build.

    Parameters
    ----------
    build : Build
        Of `prepared`.
    asked_c : float or None
        One set point of the manifold for the whole build, whatever the file says [°C].
    with_options : bool
        Whether changes are tried when the build does not survive as it is.
    progress : callable
        Told what is about to be reckoned.
    """
    manifold_by, manifold_c, build = _with_manifold(build, asked_c)
    progress("as planned")
    tried = [build.tried("as planned", Changes())]
    if with_options:
        for option in options(build, tried[0]):
            if option is not tried[0] and not _is_as_planned(option, manifold_c):
                progress(option.name)
                tried.append(option)
    loaded = {strand.input for strand in build.model.parameters.strands}
    unloaded = tuple((plan.number, plan.new_mm) for plan in build.schedule.inputs if plan.number not in loaded)
    progress("at the slow end of its time")
    return Plan(build, manifold_by, manifold_c, tuple(tried), unloaded, _slow_end(build, tried))


def _is_as_planned(option: Option, manifold_c: float | None) -> bool:
    """Whether an option only sets what the plan holds the manifold at anyway."""
    changes = option.changes
    if changes.withdrawn_s or changes.advances:
        return False
    return [(point.time_s, point.set_c) for point in changes.set_points] == [(0.0, manifold_c)]


def _slow_end(build: Build, tried: Sequence[Option]) -> SlowEnd | None:
    """What comes of the cheapest safe option if the build takes as long as it may."""
    best = cheapest(tried)
    if best is None or slow_end(build.schedule) < _HARDLY_SLOWER:
        return None
    then, safer = at_slow_end(build, best), None
    if not then.is_safe:
        least = min((option for option in tried if option.is_safe), key=lambda option: option.risk)
        safer = least if least is not best and at_slow_end(build, least).is_safe else None
    return SlowEnd(build.schedule.duration.high_s, best, then, safer)


def prepared(parameters: Parameters, settings: PlanSettings, schedule: BuildSchedule) -> Build:
    """Make a build ready to be tried; raises CannotPlanError."""
    at_merge = merge_sensors(parameters)
    if not at_merge:
        raise CannotPlanError("the wall at the merge point has no sensor, so there is nothing to plan by")
    _check_size(schedule)
    changes = tuple(file_changes(schedule, parameters, settings))
    return Build(planned_model(parameters), schedule, settings, changes, at_merge[0])


def _check_size(schedule: BuildSchedule) -> None:
    """Refuse what no build is, before it costs hours or memory."""
    length_s = schedule.duration.planned_s
    if not (math.isfinite(length_s) and length_s <= LONGEST_S):
        raise CannotPlanError(
            f"the file comes to {length_s / 86400:.3g} days; a plan goes up to {LONGEST_S / 86400:g}. Look for a dwell"
            " (G4) or a feed (F) with a slip in it"
        )
    for plan in schedule.inputs:
        most_mm = float(np.abs(plan.stretches.feed_mm).sum())
        if not most_mm <= MOST_FEED_MM:
            raise CannotPlanError(
                f"the file moves input {plan.number} by {most_mm / 1000:.3g} m in all; a plan goes up to"
                f" {MOST_FEED_MM / 1000:g}. Look for an E word with a slip in it, or for M82 where M83 is meant"
            )


def _with_manifold(build: Build, asked_c: float | None) -> tuple[ManifoldBy, float | None, Build]:
    """The build with set points for its manifold: the owner's, the file's, or else the lowest that will do."""
    if asked_c is not None:
        return ManifoldBy.OWNER, asked_c, _held_at(build, asked_c)
    if sets_manifold(build.file_changes, build.model.parameters):
        return ManifoldBy.FILE, None, build
    if not build.used:
        return ManifoldBy.NOBODY, None, build
    lowest_c = lowest_single(build.model, build.used)
    return ManifoldBy.LOWEST, lowest_c, _held_at(build, lowest_c)


def _held_at(build: Build, set_c: float) -> Build:
    others = tuple(change for change in build.file_changes if change.sensor != build.manifold)
    changes = (*others, Change(0.0, build.manifold, set_c))
    return Build(build.model, build.schedule, build.settings, changes, build.manifold)
