"""A case to judge: one seed gives a rig, a build, a pattern with its severity, the telemetry and the truth."""

from dataclasses import dataclass
from random import Random
from typing import Final

from tests.stall_judge.feeding import Fed, Onset, feed
from tests.stall_judge.losses import Cold, Pattern, draw_cold, draw_law
from tests.stall_judge.moves import Habits, build, draw_habits
from tests.stall_judge.rigs import KINDS, Rig, draw_rig
from tests.stall_judge.telemetry import Telemetry, report

ONSET_MM: Final = (700.0, 1600.0)
ROOM_MM: Final[dict[Pattern, float]] = {
    Pattern.COLD: 900.0,
    Pattern.DRAG_CLOG: 2500.0,
    Pattern.DRAG_CLOG_20: 1500.0,
    Pattern.CAPACITY_CLOG: 6000.0,
    Pattern.SLIP_10: 1200.0,
}
"""Commanded beyond the onset; other patterns get `ROOM_ELSE_MM`."""
ROOM_ELSE_MM: Final = 400.0
JAM_LAG_MM: Final = (0.0, 15.0)
JAM_IDLE_S: Final = (1_200.0, 20_000.0)


@dataclass(frozen=True, slots=True)
class Case:
    """Telemetry to judge; `fed` is the truth."""

    name: str
    pattern: Pattern
    rig: Rig
    habits: Habits
    fed: Fed
    telemetry: Telemetry

    @property
    def motor_cycle_mm(self) -> float | None:
        """What the owner's profile tells of the motor, if it does."""
        return self.rig.cycle_mm if self.rig.is_motor_told else None


def healthy_case(kind: str, seed: int, new_mm: float = 20_000.0) -> Case:
    """A healthy build of `new_mm`."""
    name = f"{kind} healthy {seed}"
    random = Random(f"judge {name}")  # noqa: S311 -- a judge must be able to repeat a case
    rig, habits = draw_rig(random, KINDS[kind]), draw_habits(random)
    moves = build(random, habits, new_mm)
    fed = feed(random, rig, moves, Onset(float("inf")), draw_law(random, Pattern.HEALTHY), None)
    return Case(name, Pattern.HEALTHY, rig, habits, fed, report(random, rig, fed, None))


def fault_case(kind: str, pattern: Pattern, seed: int) -> Case:
    """A build that is healthy at first, then shows the pattern for good."""
    name = f"{kind} {pattern} {seed}"
    random = Random(f"judge {name}")  # noqa: S311 -- a judge must be able to repeat a case
    rig, habits = draw_rig(random, KINDS[kind]), draw_habits(random)
    onset, long_idle = Onset(random.uniform(*ONSET_MM)), None
    if pattern is Pattern.JAM:
        onset = onset._replace(after_idle_mm=random.uniform(*JAM_LAG_MM))
        long_idle = (onset.mark_mm, random.uniform(*JAM_IDLE_S))
    cold = draw_cold(random, rig.limit_per_k) if pattern is Pattern.COLD else None
    end_mm = onset.mark_mm + ROOM_MM.get(pattern, ROOM_ELSE_MM) + (habits.turn_mm[1] if long_idle else 0.0)
    moves = build(random, habits, end_mm, long_idle)
    fed = feed(random, rig, moves, onset, draw_law(random, pattern), _chill(cold, habits))
    return Case(name, pattern, rig, habits, fed, report(random, rig, fed, cold))


def _chill(cold: Cold | None, habits: Habits) -> tuple[Cold, float] | None:
    return None if cold is None else (cold, habits.fastest)


def without_encoder(telemetry: Telemetry) -> Telemetry:
    """The same telemetry of a machine without an encoder."""
    return telemetry._replace(rows=[row._replace(sensed_mm=None) for row in telemetry.rows])


def without_flags(telemetry: Telemetry) -> Telemetry:
    """The same telemetry of a machine whose drivers report no stalls."""
    return telemetry._replace(rows=[row._replace(stall_flag=None) for row in telemetry.rows])
