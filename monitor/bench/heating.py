"""The part of the lesson in which walls come to their temperatures.

Owns when a wall counts as steady, and what is said while it does not get there.
"""

from collections.abc import Generator
from typing import Final

from monitor.bench.job import Job
from monitor.bench.machine_view import STEADY_FOR_S, MachineView
from monitor.bench.orders import manifold_lines
from monitor.bench.talk import Heard, Talk

LATE_S: Final = 1200.0
"""Told when a wall is not steady after so long (judgement), and again as often."""
TELL_EVERY_S: Final = 60.0
NEVER_S: Final = 5400.0


class NeverSteadyError(Exception):
    """A wall does not get to its temperature; the message says which."""


def heat(job: Job, view: MachineView, talk: Talk, manifold_c: float) -> Generator[None, Heard, None]:
    """Have the manifold set, and wait until it has been steady there for a while, and the nozzle near.

    Raises
    ------
    NeverSteadyError
        When that takes too long.
    """
    if view.set_c.get(job.manifold) != manifold_c:
        talk.say(f"Set the manifold to {manifold_c:g} °C:")
        talk.type_this(manifold_lines(job, manifold_c))
    begun_s = told_s = shown_s = view.time_s
    near_since_s: float | None = None
    while near_since_s is None or view.time_s - near_since_s < STEADY_FOR_S:
        yield
        is_there = view.is_heard and all(view.is_near(*wall) for wall in _walls(job, view, manifold_c))
        if not is_there or near_since_s is None:
            near_since_s = view.time_s if is_there else None
        if not is_there and view.is_heard and view.time_s - shown_s >= TELL_EVERY_S:
            shown_s = view.time_s
            talk.say(_walls_text(job, view, manifold_c), "    ")
        if view.time_s - begun_s > NEVER_S:
            raise NeverSteadyError(_where(job, view, manifold_c))
        if view.time_s - told_s > LATE_S and not is_there:
            told_s = view.time_s
            talk.say(f"Still not there after {(told_s - begun_s) / 60.0:.0f} min: {_where(job, view, manifold_c)}.")
    talk.say(f"The manifold is steady at {view.manifold_c or manifold_c:.1f} °C.")


def _walls(job: Job, view: MachineView, manifold_c: float) -> list[tuple[str, float]]:
    walls = [(job.manifold, manifold_c)]
    if job.nozzle is not None and job.nozzle_c is not None and job.nozzle in view.temp_c:
        walls.append((job.nozzle, job.nozzle_c))
    return walls


def _walls_text(job: Job, view: MachineView, manifold_c: float) -> str:
    """How far they are, as a sign of life."""
    known = [(sensor, view.temp_c.get(sensor), asked_c) for sensor, asked_c in _walls(job, view, manifold_c)]
    return ", ".join(
        f"{sensor} {temp_c:.0f} of {asked_c:g} °C" for sensor, temp_c, asked_c in known if temp_c is not None
    )


def _where(job: Job, view: MachineView, manifold_c: float) -> str:
    """Say how walls and set points stand against what was asked for."""
    texts = []
    for sensor, asked_c in _walls(job, view, manifold_c):
        if view.is_near(sensor, asked_c):
            continue
        temp_c, set_c = view.temp_c.get(sensor), view.set_c.get(sensor)
        is_at = "tells no temperature" if temp_c is None else f"is at {temp_c:.1f} °C"
        is_set = "" if set_c is None else f", its set point is {set_c:g} °C"
        texts.append(f"{sensor} {is_at}{is_set}, {asked_c:g} °C was asked for")
    if not view.is_heard:
        texts.append(f"the machine is not heard ({view.why_not or 'no data yet'})")
    return "; ".join(texts) or "the walls are near but do not stay"
