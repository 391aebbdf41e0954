"""The simulated machine: one night of an invented printer with six inputs, as the events a link would yield.

Owns the order of the night (cold, heating up, build, cooling) and what the telemetry carries. An honest stand-in for
demos and tests: its physics are its own and simple, and share nothing with the model that watches it. Pure, and the
same for the same seed: every kind of chance has its own generator, so a fault changes nothing before its onset.
"""

from bisect import bisect_right
from collections.abc import Iterator
from math import ceil, isfinite
from random import Random
from typing import Final

from connectors.errors import SettingsError
from connectors.simulated_ageing import StrandAge
from connectors.simulated_build import Move, SetPoint, SimulatedBuild, carried_out, delayed_set_points
from connectors.simulated_faults import LooseContact, StrandFault
from connectors.simulated_feed import StrandFeed
from connectors.simulated_heat import HotPath
from connectors.simulated_outages import through_link
from connectors.simulated_program import Piece, Runner, program
from connectors.simulated_scenarios import COOL_DOWN_S, INPUTS, Fault, FaultKind, Scenario
from connectors.telemetry import Event, Execution, Sample, channel

MANIFOLD_SET_C: Final = 195.0
NOZZLE_SET_C: Final = 225.0
COLD_BY_K: Final = 25.0
HEATING_FROM_S: Final = 60.0
SETTLED_FOR_S: Final = 30.0
STEP_MOST_S: Final = 1.0
PERIOD_S: Final = (0.05, 60.0)
RADIATOR_FADES_OVER_S: Final = 14_400.0
RADIATOR_LEFT: Final = 0.12
DUTY_STEPS: Final = 127
_FED = {number: channel("fed_mm", number) for number in INPUTS}
_SENSED = {number: channel("sensed_mm", number) for number in INPUTS}
_STALL = {number: channel("stall", number) for number in INPUTS}
_HEAT_FAULTS = frozenset(
    {FaultKind.RADIATOR, FaultKind.COLD_MANIFOLD, FaultKind.HEATER, FaultKind.HEATER_ON, FaultKind.LOOSE_SENSOR}
)


def simulate(
    scenario: Scenario, seed: int = 1, period_s: float = 1.0, duration_s: float | None = None
) -> Iterator[Event]:
    """Yield the events of a night, in machine time [s].

    Parameters
    ----------
    scenario : Scenario
        What goes wrong.
    seed : int
        The same seed gives the same night.
    period_s : float
        Time between samples [s], 0.05 to 60. Above about 2 s turns of several inputs may fall into one sample.
    duration_s : float or None
        Stop after this much machine time [s], the scenario staying as it is; None for the whole night.

    Raises
    ------
    SettingsError
        If a value is out of range.
    """
    low_s, high_s = PERIOD_S
    if not low_s <= period_s <= high_s:
        raise SettingsError(f"simulated machine: period_s = {period_s} cannot be; allowed: {low_s} to {high_s} s")
    whole_s = scenario.duration_s if duration_s is None else duration_s
    if not (isfinite(whole_s) and whole_s > 0):
        raise SettingsError(f"simulated machine: duration_s = {whole_s} cannot be; allowed: more than 0 s")
    return through_link(scenario, _samples(scenario, seed, period_s, int(whole_s / period_s + 1e-9)))


def _samples(scenario: Scenario, seed: int, period_s: float, count: int) -> Iterator[Sample]:
    machine = SimulatedMachine(scenario, seed)
    steps = ceil(period_s / STEP_MOST_S)
    for number in range(1, count + 1):
        for _ in range(steps):
            machine.step(period_s / steps)
        yield Sample(number * period_s, machine.values(), machine.execution)


class SimulatedMachine:
    """State of the machine; `step` moves it on, `values` reads its sensors."""

    def __init__(self, scenario: Scenario, seed: int) -> None:
        self.execution = Execution.READY
        self.time_s = 0.0
        self._scenario, self._seed = scenario, seed
        self._fault = scenario.fault
        self.heat = HotPath(chance(seed, "heat"))
        luck = chance(seed, "luck")
        self.feeds = {
            number: StrandFeed(number, chance(seed, f"strand {number}"), luck, self._strand_fault(number, luck))
            for number in INPUTS
        }
        self._loose = LooseContact(chance(seed, "loose contact"))
        self.ages: dict[int, StrandAge] = {}
        if scenario.planned is not None:
            self._load_for(scenario.planned)
        self.jammed_s: dict[int, float] = {}  # when a strand that had aged too far was pushed
        self._runner = Runner(())
        self._set_points = _manifold_set_points(scenario)
        self._settled_s = 0.0
        self._flow_mm_s = 0.0

    def step(self, step_s: float) -> None:
        """Move on by `step_s` [s], at the most `STEP_MOST_S`."""
        self._set_heaters()
        self._trouble_heat(step_s)
        self._flow_mm_s = sum(self._move(piece) for piece in self._runner.pieces(step_s)) / step_s
        self.heat.step(step_s, self._flow_mm_s, self._radiator())
        for number, age in self.ages.items():
            if self.feeds[number].is_in_heat:
                age.stand(step_s, self.heat.state.manifold_c)
        self.time_s += step_s
        self._next_state(step_s)

    def values(self) -> dict[str, float]:
        """Read all sensors: the values of one sample. Stall flags are cleared by reading."""
        heat = self.heat
        values = {
            "temp_c:manifold": heat.measured_c[0],
            "set_c:manifold": heat.set_c[0],
            "duty:manifold": round(round(heat.duty[0] * DUTY_STEPS) / DUTY_STEPS, 4),
            "temp_c:nozzle": heat.measured_c[1],
            "set_c:nozzle": heat.set_c[1],
            "duty:nozzle": round(round(heat.duty[1] * DUTY_STEPS) / DUTY_STEPS, 4),
            "temp_c:cold_end": heat.sensed_c(heat.state.cold_end_c),
            "temp_c:coolant": heat.sensed_c(heat.state.coolant_c),
            "progress": self.progress,
        }
        for number, feed in self.feeds.items():
            values[_FED[number]] = round(feed.commanded_mm, 2)
            values[_SENSED[number]] = feed.encoder_mm()
            values[_STALL[number]] = 1.0 if feed.stalled else 0.0
            feed.stalled = False
        return values

    @property
    def progress(self) -> float:
        """Share of the build that is done, 0..1."""
        if self.execution in {Execution.READY, Execution.WAIT}:
            return 0.0
        return round(self._runner.progress, 5)

    def _load_for(self, build: SimulatedBuild) -> None:
        """Strands as a planned build has them: they age, and differ in what heat they need."""
        for number, law in build.age_laws.items():
            self.ages[number] = StrandAge(law, chance(self._seed, f"age {number}"))
        for number, full_speed_c in build.full_speed_c.items():
            self.feeds[number].limit_c = full_speed_c

    @property
    def build_s(self) -> float:
        """How long the build has been under way [s]."""
        return self._runner.done_s

    def _move(self, piece: Piece) -> float:
        feed, age = self.feeds[piece.input], self.ages.get(piece.input)
        if age is None:
            return feed.move(piece, self.heat.state.manifold_c, self.time_s)
        if piece.length_mm > 0 and age.is_beyond and piece.input not in self.jammed_s:
            self.jammed_s[piece.input] = self.time_s
            feed.jam(self.time_s)
        melted_mm = feed.move(piece, self.heat.state.manifold_c, self.time_s)
        age.renew(melted_mm)
        return melted_mm

    def _set_heaters(self) -> None:
        if self.execution not in {Execution.WAIT, Execution.ACTIVE}:
            self.heat.set_c = (0.0, 0.0)
            return
        cold = self._present(FaultKind.COLD_MANIFOLD)
        below_k = 0.0 if cold is None else COLD_BY_K * cold.severity
        self.heat.set_c = (self._manifold_set_c() - below_k, NOZZLE_SET_C)

    def _trouble_heat(self, step_s: float) -> None:
        """Let heater and sensor of the manifold fail as the scenario says."""
        is_off, is_on = self._present(FaultKind.HEATER), self._present(FaultKind.HEATER_ON)
        self.heat.given = 0.0 if is_off is not None else 1.0 if is_on is not None else None
        is_loose = self._present(FaultKind.LOOSE_SENSOR) is not None
        self.heat.loose_k = self._loose.step(step_s) if is_loose else 0.0

    def _manifold_set_c(self) -> float:
        """The newest set point; while the machine heats up, the first."""
        due = bisect_right(self._set_points, self._runner.done_s, key=lambda point: point.time_s)
        return self._set_points[max(0, due - 1)].set_c

    def _radiator(self) -> float:
        fault = self._present(FaultKind.RADIATOR)
        if fault is None:
            return 1.0
        faded = min(1.0, (self.time_s - fault.onset_s) / RADIATOR_FADES_OVER_S)
        return 1.0 - (1.0 - RADIATOR_LEFT) * faded

    def _present(self, kind: FaultKind) -> Fault | None:
        fault = self._fault
        if fault is None or fault.kind is not kind or not fault.onset_s <= self.time_s < fault.until_s:
            return None
        return fault

    def _strand_fault(self, number: int, luck: Random) -> StrandFault | None:
        fault = self._fault
        if fault is None or fault.kind in _HEAT_FAULTS or fault.input != number:
            return None
        return StrandFault(fault, luck)

    def _next_state(self, step_s: float) -> None:
        if self.execution is Execution.READY and self.time_s >= HEATING_FROM_S:
            self.execution = Execution.WAIT
        elif self.execution is Execution.WAIT:
            self._settled_s = self._settled_s + step_s if self.heat.settled else 0.0
            if self._settled_s >= SETTLED_FOR_S:
                self._begin_build()
        elif self.execution is Execution.ACTIVE and self._runner.finished:
            self.execution = Execution.PROGRAM_COMPLETED

    def _begin_build(self) -> None:
        self._runner = Runner(self._moves())
        self.execution = Execution.ACTIVE

    def _moves(self) -> Iterator[Move]:
        if self._scenario.planned is not None:
            return carried_out(self._scenario.planned)
        end_s = self._scenario.duration_s - COOL_DOWN_S
        return program(chance(self._seed, "program"), self.time_s, end_s, self._scenario.absences)


def _manifold_set_points(scenario: Scenario) -> tuple[SetPoint, ...]:
    planned = scenario.planned
    return (SetPoint(0.0, MANIFOLD_SET_C),) if planned is None else delayed_set_points(planned)


def chance(seed: int, of: str) -> Random:
    """Return a generator of its own for each kind of chance."""
    return Random(f"{seed} {of}")  # noqa: S311 -- a simulation must repeat; nothing here is a secret
