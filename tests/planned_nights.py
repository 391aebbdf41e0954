"""Planned builds lived through by the simulated machine: with its own truth of what jams, which no plan knows.

The build is made from the same turns as the file, but without the file: turns become moves as a build has them, fast
and slow stretches with pauses between, that come to the turn's length in the turn's time.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import Final

from connectors.simulated_ageing import AGE_LAWS, AgeLaw
from connectors.simulated_build import Advance, Move, SetPoint, SimulatedBuild, Withdrawal
from connectors.simulated_machine import STEP_MOST_S, SimulatedMachine
from connectors.simulated_scenarios import COOL_DOWN_S, Scenario
from connectors.telemetry import Sample
from monitor.config import demo_profile
from monitor.planning.course import Change, file_changes
from monitor.planning.forward_run import planned_model
from monitor.planning.options import Build, Changes, Option, options
from monitor.planning.settings import PlanSettings
from tests.planned_builds import Turn, lantern, schedule_of

SETTINGS: Final = PlanSettings(tool_sensors={9: "manifold"})
PLANNED_C: Final = 195.0
HEATING_S: Final = 900.0
"""More than the machine takes before its build begins."""
CYCLE: Final = ((10.0, 4.0), (6.0, 1.5), (4.0, 0.8))
"""Stretches of a cycle of 20 s at a mean of 1 mm/s: millimetres and mm/s; the rest is a pause."""
_CYCLE_S: Final = 20.0


def moves_of(turns: Iterable[Turn]) -> Iterator[Move]:
    """Moves of each turn: as long and as much in all as the turn."""
    for turn in turns:
        cycles = max(1, round(turn.length_s / _CYCLE_S))
        cycle_s = turn.length_s / cycles
        scale = turn.speed_mm_s * cycle_s / _CYCLE_S
        for _ in range(cycles):
            moves = [Move(turn.input, scale * length_mm, scale * length_mm / speed) for length_mm, speed in CYCLE]
            yield from moves
            yield Move(turn.input, 0.0, cycle_s - sum(move.time_s for move in moves))


def simulated(
    turns: Iterable[Turn], changes: Changes, planned_c: float = PLANNED_C, age_laws: dict[int, AgeLaw] | None = None
) -> Scenario:
    """A night with this build, changed so."""
    own = tuple(SetPoint(change.time_s, change.set_c) for change in changes.set_points)
    build = SimulatedBuild(
        tuple(moves_of(turns)),
        own or (SetPoint(0.0, planned_c),),
        tuple(Withdrawal(time_s, number) for number, time_s in changes.withdrawn_s.items()),
        tuple(Advance(*advance) for advance in changes.advances),
        AGE_LAWS if age_laws is None else age_laws,
    )
    return Scenario(
        "planned-build",
        "A planned build",
        "The machine carries out a build that was planned.",
        duration_s=HEATING_S + build.length_s + COOL_DOWN_S,
        planned=build,
    )


@dataclass(frozen=True, slots=True)
class Moment:
    """A sample, and what is true of the machine at that time."""

    sample: Sample
    manifold_c: float
    build_s: float
    jammed: tuple[int, ...]


def lived(scenario: Scenario, seed: int, period_s: float) -> Iterator[Moment]:
    """Live through a night; the truth is told beside the samples."""
    machine = SimulatedMachine(scenario, seed)
    steps = round(period_s / STEP_MOST_S)
    for number in range(1, int(scenario.duration_s / period_s) + 1):
        for _ in range(steps):
            machine.step(STEP_MOST_S)
        sample = Sample(number * period_s, machine.values(), machine.execution)
        yield Moment(sample, machine.heat.state.manifold_c, machine.build_s, tuple(machine.jammed_s))


def plan_of(turns: list[Turn], manifold_c: float = PLANNED_C) -> Build:
    """The same turns as a file, read and ready to be tried."""
    parameters = demo_profile().parameters
    schedule = schedule_of(turns, manifold_c)
    points: tuple[Change, ...] = tuple(file_changes(schedule, parameters, SETTINGS))
    return Build(planned_model(parameters), schedule, SETTINGS, points, "manifold")


@cache
def lantern_options() -> tuple[Option, ...]:
    """The lantern as planned, and all that is tried to save it; reckoned once."""
    build = plan_of(lantern())
    return tuple(options(build, build.tried("as planned", Changes())))
