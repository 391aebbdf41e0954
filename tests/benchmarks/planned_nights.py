"""Planned builds lived through: `python -m tests.benchmarks.planned_nights [--seeds N] [--watch]`.

The lantern as planned and with every option that saves it, on the simulated machine, as markdown: how many of the
seeds jam, by the machine's own truth, with its own times to jam and with times anywhere between the materials' limit
and high estimate. With --watch also what the watch tells of the first seed. All of it is simulated.
"""

import argparse
import sys
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from connectors.simulated_ageing import AGE_LAWS, AgeLaw
from connectors.simulated_machine import chance
from monitor.config import demo_profile
from monitor.core.alert_types import Priority
from monitor.core.engine import run
from monitor.planning.options import Option
from tests.planned_builds import lantern
from tests.planned_nights import lantern_options, lived, simulated

PERIOD_S: Final = 4.0
JAMS_H: Final[Mapping[int, tuple[float, float]]] = {
    1: (8.8, 14.2),
    2: (10.5, 16.3),
    3: (8.0, 12.6),
    4: (6.3, 9.3),
    5: (11.5, 18.5),
    6: (9.7, 15.1),
}
"""Hours at 195 °C to each invented material's limit, and to its high estimate."""


def anywhere(seed: int) -> dict[int, AgeLaw]:
    """Laws whose times to jam lie anywhere between limit and high estimate."""
    random = chance(seed, "times to jam")
    return {number: AgeLaw(random.uniform(*JAMS_H[number]), law.doubles_k) for number, law in AGE_LAWS.items()}


def jams(option: Option, seeds: int, *, is_anywhere: bool) -> Counter[int]:
    """How many seeds jam each input."""
    counted: Counter[int] = Counter()
    for seed in range(1, seeds + 1):
        night = simulated(lantern(), option.changes, age_laws=anywhere(seed) if is_anywhere else None)
        *_, last = lived(night, seed, PERIOD_S)
        counted.update(last.jammed)
    return counted


def told(option: Option) -> Counter[str]:
    """What the watch raises to an alarm over the first seed, by condition and input."""
    samples = (moment.sample for moment in lived(simulated(lantern(), option.changes), 1, PERIOD_S))
    changes = (change for step in run(samples, demo_profile().parameters) for change in step.transitions)
    return Counter(
        f"{change.alert.condition} {change.alert.input or ''}".strip()
        for change in changes
        if change.alert.priority is Priority.ALARM and change.calls
    )


def table(tried: Sequence[Option], seeds: int, *, watches: bool) -> Iterator[str]:
    """The rows of the table."""
    yield f"| build | waste g | risk | jams in {seeds} seeds | jam times anywhere | alarms, seed 1 |"
    yield "|---|---|---|---|---|---|"
    for option in tried:
        own, other = (_words(jams(option, seeds, is_anywhere=is_anywhere)) for is_anywhere in (False, True))
        alarms = ", ".join(sorted(told(option))) if watches else "not run"
        yield f"| {option.name} | {option.waste_g:.2f} | {option.risk:.2f} | {own} | {other} | {alarms or 'none'} |"


def _words(counted: Mapping[int, int]) -> str:
    return ", ".join(f"input {number}: {count}" for number, count in sorted(counted.items())) or "none"


def main(arguments: Sequence[str]) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--watch", action="store_true", help="run the watch too, over the first seed")
    chosen = parser.parse_args(arguments)
    first, *others = lantern_options()
    tried = [first, *(option for option in others if option.is_safe)]
    for line in table(tried, chosen.seeds, watches=chosen.watch):
        sys.stdout.write(f"{line}\n")
        sys.stdout.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
