"""Whether alerts are worth waking up for: `python -m tests.benchmarks.alert_quality [SEEDS [FAULT_SEEDS]]`.

Simulated nights, healthy and with faults, a sample every 2 s, and all recordings in `replays/`; of each seed another
night, with nobody there to acknowledge. A call is what `AlertTransition.calls` says: it rises, gets worse or wants to
be seen again, is announced, and no other alert has its cause. Measures and most limits are those of ISA-18.2 and
EEMUA 191 as secondary sources give them (rates, chattering, fleeting); the targets are our own.
"""

import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final, NamedTuple

from connectors.recording import Conclusion, read_recording
from connectors.simulated_machine import SimulatedMachine, simulate
from connectors.simulated_scenarios import SCENARIOS, FaultKind, Scenario
from monitor.config import demo_profile
from monitor.core.alert_table import ALERT_TABLE
from monitor.core.alert_types import AlertTransition, Priority
from monitor.core.engine import run
from monitor.core.engine_input import EngineInput
from monitor.recording.inputs import input_in

PERIOD_S: Final = 2.0
WINDOW_S: Final = 600.0
FLEETING_S: Final = 10.0
CHATTER_S: Final = 60.0
CHATTER_TIMES: Final = 3
STALLS: Final = frozenset({"stall"})
EXPECTED: Final[Mapping[str, frozenset[str]]] = {
    "healthy-night": frozenset(),
    "fading-radiator": frozenset({"cooling", "softening"}),
    "left-idle": frozenset({"dose", "standing"}),
    "cold-manifold": frozenset({"cold_feed", "stall"}),
    "jam-after-idle": STALLS | {"dose"},
    "link-drop-outs": frozenset({"link"}),
}
"""What a night's fault may raise; of the nights not named here, a stall."""


class Call(NamedTuple):
    """One call of the owner."""

    time_s: float
    condition: str
    priority: Priority
    event: str
    alert_id: str


@dataclass(frozen=True, slots=True)
class Night:
    """What one night called for."""

    name: str
    calls: tuple[Call, ...]
    changes: tuple[AlertTransition, ...]
    hours: float

    @property
    def expected(self) -> frozenset[str]:
        """Conditions that the night's fault may raise."""
        return EXPECTED.get(self.name, STALLS)


def judged(name: str, events: Iterable[EngineInput]) -> Night:
    """Run a night through the engine."""
    changes: list[AlertTransition] = []
    last_s = 0.0
    for step in run(events, demo_profile().parameters):
        changes += step.transitions
        last_s = step.event.time_s
    calls = (
        Call(change.time_s, change.alert.condition, change.alert.priority, change.event, change.alert.id)
        for change in changes
        if change.calls
    )
    return Night(name, tuple(calls), tuple(changes), last_s / 3600.0)


def simulated(scenario: Scenario, seed: int) -> Night:
    """One simulated night."""
    return judged(scenario.name, simulate(scenario, seed=seed, period_s=PERIOD_S))


def recorded(path: Path) -> Night:
    """One recording of the project, judged anew."""
    return judged(path.name.split(".")[0], _events(path))


def _events(path: Path) -> Iterator[EngineInput]:
    for item in read_recording(path).items():
        if not isinstance(item, Conclusion):
            yield item
            continue
        told = input_in(item)
        if told is not None:
            yield told


def most_in_ten_minutes(night: Night) -> int:
    """Largest number of calls in any ten minutes."""
    times = [call.time_s for call in night.calls]
    return max((sum(start <= time_s < start + WINDOW_S for time_s in times) for start in times), default=0)


def fleeting(night: Night) -> int:
    """Announced alerts that were over within ten seconds."""
    raised: dict[str, float] = {}
    count = 0
    for change in night.changes:
        if change.calls:
            raised.setdefault(change.alert.id, change.time_s)
        elif change.event == "cleared" and change.time_s - raised.get(change.alert.id, -1e9) < FLEETING_S:
            count += 1
    return count


def chattering(night: Night) -> int:
    """Points that called three times or more within a minute."""
    by_point: dict[str, list[float]] = {}
    for call in night.calls:
        by_point.setdefault(call.alert_id.rsplit("/", 1)[0], []).append(call.time_s)
    return sum(
        any(late - early <= CHATTER_S for early, late in zip(times, times[CHATTER_TIMES - 1 :], strict=False))
        for times in by_point.values()
    )


def false_alerts(night: Night) -> tuple[int, int]:
    """Activations that called, and how many of these the night's fault does not explain."""
    activations = {call.alert_id: call.condition for call in night.calls}
    return len(activations), sum(condition not in night.expected for condition in activations.values())


def lead_s(seed: int, night: Night) -> float:
    """From the first call of a fading radiator to when the cold end truly passes the lowest glass transition [s].

    By the simulated machine's own temperature, which the engine never sees.
    """
    soft_c = min(strand.material.glass_c for strand in demo_profile().parameters.strands)
    machine = SimulatedMachine(SCENARIOS["fading-radiator"], seed)
    while machine.heat.state.cold_end_c < soft_c and machine.time_s < 36_000.0:
        machine.step(1.0)
    return machine.time_s - min(call.time_s for call in night.calls)


def time_to_limit_s(night: Night) -> float:
    """From the first call for aged material to the passing of its limit dose [s]."""
    dose = [change for change in night.changes if change.alert.condition == "dose"]
    limit_s = next(
        change.time_s
        for change in dose
        if (change.alert.value or 0.0) > (change.alert.limit or 0.0) > 0.0
        and change.event == "escalated"
        and change.alert.limit == max(it.alert.limit or 0.0 for it in dose)
    )
    return limit_s - min(change.time_s for change in dose)


def rows(nights: list[Night]) -> Iterator[tuple[str, float]]:
    """Figures of many nights together."""
    hours = sum(night.hours for night in nights)
    raised, unexplained = (sum(part) for part in zip(*map(false_alerts, nights), strict=True))
    yield "calls per 10 min, mean", sum(len(night.calls) for night in nights) / (6.0 * hours)
    yield "most calls in any ten minutes", float(max(map(most_in_ten_minutes, nights)))
    yield "fleeting alerts", float(sum(map(fleeting, nights)))
    yield "chattering points", float(sum(map(chattering, nights)))
    if raised:
        yield "alerts that the fault explains, %", 100.0 * (1.0 - unexplained / raised)


def healthy_rows(nights: list[Night]) -> Iterator[tuple[str, float]]:
    """Figures of healthy nights."""
    raised = Counter(call.priority for night in nights for call in night.calls)
    yield f"ALARMs in {len(nights)} healthy nights", float(raised[Priority.ALARM])
    yield f"WARNINGs in {len(nights)} healthy nights", float(raised[Priority.WARNING])


def first_s(night: Night, scenario: Scenario) -> float:
    """From the fault's onset to the first call [s]; negative: a call before there was anything to call for."""
    onset_s = scenario.onset_s if scenario.fault is None else scenario.fault.onset_s
    return min((call.time_s - onset_s for call in night.calls), default=float("inf"))


def _told(night: Night) -> str:
    return ", ".join(f"{count} {name}" for name, count in Counter(call.condition for call in night.calls).items())


def _fault_line(scenario: Scenario, seed: int, night: Night) -> str:
    line = f"{scenario.name:<20}{seed:>3}  first after {first_s(night, scenario):6.0f} s; {_told(night)}"
    if scenario.fault is not None and scenario.fault.kind is FaultKind.RADIATOR:
        need_s = ALERT_TABLE["cooling"].respond_within_s
        line += f"; {lead_s(seed, night):.0f} s before it softens, {need_s:.0f} s are needed"
    if scenario.name == "left-idle":
        need_s = ALERT_TABLE["dose"].respond_within_s
        line += f"; {time_to_limit_s(night):.0f} s before its limit, {need_s:.0f} s are needed"
    return line


def main() -> None:
    """Print the figures of healthy nights, then one line for each fault and seed, then all together."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    fault_seeds = int(sys.argv[2]) if len(sys.argv) > 2 else 3
    healthy = [simulated(SCENARIOS["healthy-night"], seed) for seed in range(1, seeds + 1)]
    _print([*healthy_rows(healthy), *rows(healthy)])
    faulty = []
    for scenario in SCENARIOS.values():
        for seed in range(1, fault_seeds + 1) if scenario.name != "healthy-night" else ():
            faulty.append(simulated(scenario, seed))
            sys.stdout.write(f"{_fault_line(scenario, seed, faulty[-1])}\n")
    sys.stdout.write(f"{len(faulty)} nights with faults\n")
    _print(rows(faulty))
    folder = Path(__file__).parents[2] / "replays"
    takes = [recorded(path) for path in sorted(folder.glob("*.jsonl*"))]
    sys.stdout.write(f"{len(takes)} recordings\n")
    _print(rows(takes))


def _print(figures: Iterable[tuple[str, float]]) -> None:
    for name, value in figures:
        sys.stdout.write(f"{value:12.3g}  {name}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
