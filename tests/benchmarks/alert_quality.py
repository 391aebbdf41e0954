"""Whether alerts are worth waking up for: `python -m tests.benchmarks.alert_quality [SEEDS]`.

Simulated nights, healthy and with faults, a sample every 2 s; of each seed another night. Counted is what calls the
owner: alerts raised, re-raised or escalated that are not folded under another one, with nobody there to acknowledge.
"""

import sys
from collections import Counter
from typing import NamedTuple

from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import SCENARIOS, Scenario
from monitor.config import demo_profile
from monitor.core.alert_types import Priority
from monitor.core.engine import run

PERIOD_S = 2.0
WINDOW_S = 600.0
CALLS = frozenset({"raised", "re-raised", "escalated"})


class Call(NamedTuple):
    """One call of the owner."""

    time_s: float
    condition: str
    priority: Priority
    event: str


def calls(scenario: Scenario, seed: int) -> list[Call]:
    """All calls of one night."""
    parameters = demo_profile().parameters
    return [
        Call(change.time_s, change.alert.condition, change.alert.priority, change.event)
        for step in run(simulate(scenario, seed=seed, period_s=PERIOD_S), parameters)
        for change in step.transitions
        if change.event in CALLS and not change.alert.folded_under
    ]


def most_in_ten_minutes(night: list[Call]) -> int:
    """Largest number of calls in any ten minutes."""
    times = [call.time_s for call in night]
    return max((sum(start <= time_s < start + WINDOW_S for time_s in times) for start in times), default=0)


def first_s(night: list[Call], scenario: Scenario) -> float:
    """From the fault's onset to the first call [s]; negative: a call before there was anything to call for."""
    onset_s = scenario.onset_s if scenario.fault is None else scenario.fault.onset_s
    return min((call.time_s - onset_s for call in night), default=float("inf"))


def measure(seeds: int) -> dict[str, float]:
    """Figures of healthy nights."""
    nights = [calls(SCENARIOS["healthy-night"], seed) for seed in range(1, seeds + 1)]
    raised = Counter(call.priority for night in nights for call in night)
    return {
        f"ALARMs in {seeds} healthy nights": float(raised[Priority.ALARM]),
        f"WARNINGs in {seeds} healthy nights": float(raised[Priority.WARNING]),
        "most calls in ten healthy minutes": float(max(map(most_in_ten_minutes, nights), default=0)),
    }


def main() -> None:
    """Print the figures of healthy nights, then one line for each fault and seed."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    for name, value in measure(seeds).items():
        sys.stdout.write(f"{value:12.0f}  {name}\n")
    for name, scenario in SCENARIOS.items():
        for seed in (1, 2, 3) if name != "healthy-night" else ():
            night = calls(scenario, seed)
            told = ", ".join(f"{count} {condition}" for condition, count in Counter(c.condition for c in night).items())
            delay = f"first after {first_s(night, scenario):.0f} s" if night else "no call"
            sys.stdout.write(f"{name:<20}{seed}  {delay}; at most {most_in_ten_minutes(night)} in 10 min; {told}\n")


if __name__ == "__main__":
    main()
