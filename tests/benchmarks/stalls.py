"""Stalls seen and told apart: `python -m tests.benchmarks.stalls [--short] [--hours N] [--seeds N] [--from-seed N]`.

False alarms in healthy feed with the exact Poisson bound, delays from the true onset, classes with ablations of the
evidence, and what a sample costs, as markdown. The cases come from `tests.stall_judge`, which knows nothing of the
detectors. All of it is simulated; no threshold is taken from it.
"""

import argparse
import sys
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from math import isfinite
from typing import Final

from monitor.config import demo_profile
from tests.benchmarks.figures import Figure, count, of_this_machine, ratio
from tests.benchmarks.paired import seconds
from tests.benchmarks.stall_heater import heater_alarm_table, heater_table
from tests.benchmarks.stall_scores import Tally, Verdict, healthy_hours, judge, poisson_most, quantiles
from tests.benchmarks.whole_engine import bare_loop
from tests.stall_judge.cases import Case, fault_case, healthy_case, without_encoder, without_flags
from tests.stall_judge.losses import Pattern
from tests.stall_judge.rigs import KINDS
from tests.stall_judge.telemetry import Telemetry

MOST_MM: Final[dict[Pattern, tuple[float, float]]] = {
    Pattern.STOPS: (5, 10),
    Pattern.RUN_OUT: (5, 10),
    Pattern.TANGLE: (12, 20),
    Pattern.GRINDING: (12, 20),
    Pattern.JAM: (12, 20),
    Pattern.SLIP_50: (8, 20),
    Pattern.SLIP_30: (12, 40),
    Pattern.SLIP_10: (60, 250),
}
"""Goals for p99 of the delay: fine rig, coarse rig."""
CLOG_SLIP: Final = (0.08, 0.15)
"""Goals for the slip at which a clog growing by 20 % per metre is told."""
MERGED: Final = {
    Pattern.HEALTHY: "healthy",
    Pattern.COLD: "cold",
    Pattern.JAM: "jam",
    Pattern.GRINDING: "stopped",
    Pattern.RUN_OUT: "stopped",
    Pattern.TANGLE: "stopped",
    Pattern.STOPS: "stopped",
    Pattern.DRAG_CLOG: "clog",
    Pattern.CAPACITY_CLOG: "clog",
}
TOLD_AS: Final = {
    "": "healthy",
    "cold skipping": "cold",
    "jam after idle": "jam",
    "grinding": "grinding",
    "run-out or tangle": "run-out or tangle",
    "strand stopped": "cause unknown",
    "slow clog": "clog",
}
OF_STOPPED: Final = frozenset({"grinding", "run-out or tangle", "cause unknown"})
SPLIT: Final = {
    Pattern.GRINDING: "grinding",
    Pattern.RUN_OUT: "run-out or tangle",
    Pattern.TANGLE: "run-out or tangle",
}
COLUMNS: Final = ("cold", "jam", "grinding", "run-out or tangle", "cause unknown", "clog", "healthy")
PARTS: Final = ("alarms", "delays", "classes", "heater")
BARE_TICKS: Final = 5_000
FIGURES: Final[tuple[Figure, ...]] = (
    ratio("a sample of one input", "six standing strands, propagated alone", at_most=1.2),
    of_this_machine("a sample of one input [µs]", "µs"),
    of_this_machine("healthy feeding judged", "h per minute"),
    count("false alarms in healthy feeding", "alarms", at_most=0.0),
    count("feed until a strand that stops is told", "mm, worst of some", at_most=MOST_MM[Pattern.STOPS][0]),
    count("feed until 30 % slip is told", "mm, worst of some", at_most=MOST_MM[Pattern.SLIP_30][0]),
)
"""Goals for millimetres and alarms are those of stalls.md; the first bound is what was measured, rounded up."""
Ablation = Callable[[Telemetry], Telemetry]
ABLATIONS: Final[dict[str, Ablation]] = {
    "all": lambda told: told,
    "no flags": without_flags,
    "no encoder": without_encoder,
}


def rows_of(cells: Iterator[Sequence[str]]) -> Iterator[str]:
    """Lines of a markdown table, the first row being its head."""
    for number, row in enumerate(cells):
        yield "| " + " | ".join(row) + " |"
        if number == 0:
            yield "|" + "---|" * len(row)


def false_alarm_table(kinds: Sequence[str], hours: float, seed: int) -> Iterator[Sequence[str]]:
    """Healthy hours shared among the kinds of rig."""
    yield ("rig", "feeding h", "km", "alarms", "per 1000 h", "95 % bound", "by", "µs per sample", "h per minute")
    whole = Tally()
    for kind in kinds:
        tally = healthy_hours(kind, hours / len(kinds), seed)
        whole = whole.plus(tally)
        yield _tally_row(kind, tally)
        if tally.names:
            sys.stderr.write(f"false alarms: {', '.join(tally.names)}\n")
    yield _tally_row("all", whole)


def _tally_row(kind: str, tally: Tally) -> Sequence[str]:
    by = ", ".join(f"{name} {count}" for name, count in Counter(tally.detectors).items())
    return (
        kind,
        f"{tally.feeding_h:.0f}",
        f"{tally.fed_m / 1000:.1f}",
        f"{tally.alarms}",
        f"{tally.alarms / tally.feeding_h * 1000:.2f}",
        f"{poisson_most(tally.alarms, tally.feeding_h):.2f}",
        by or "–",
        f"{tally.judged_s / tally.samples * 1e6:.1f}",
        f"{tally.feeding_h / tally.judged_s * 60:.0f}",
    )


def delay_table(kinds: Sequence[str], seeds: range) -> Iterator[Sequence[str]]:
    """Delays of every pattern on every kind of rig, in commanded mm."""
    yield (
        "rig",
        "pattern",
        "cases",
        "median",
        "p90",
        "p99",
        "missed",
        "early",
        "slip then",
        "onset outside by",
        "goal",
    )
    for kind in kinds:
        for pattern in Pattern:
            if pattern is not Pattern.HEALTHY:
                yield _delay_row(kind, pattern, [judge(fault_case(kind, pattern, seed)) for seed in seeds])


def _delay_row(kind: str, pattern: Pattern, verdicts: list[Verdict]) -> Sequence[str]:
    late = [verdict for verdict in verdicts if not verdict.is_early]
    delays = quantiles([verdict.delay_mm for verdict in late])
    missed = sum(not isfinite(verdict.delay_mm) for verdict in late)
    slip = quantiles([verdict.slip for verdict in late if isfinite(verdict.delay_mm)] or [0.0])
    outside = quantiles([verdict.onset_error_mm for verdict in late if isfinite(verdict.delay_mm)] or [0.0])
    return (
        kind,
        str(pattern),
        f"{len(verdicts)}",
        *(f"{delay:.1f}" if isfinite(delay) else "missed" for delay in delays),
        f"{missed / max(1, len(late)):.1%}",
        f"{len(verdicts) - len(late)}",
        f"{slip[0]:.0%} / p99 {slip[2]:.0%}",
        f"{outside[0]:.1f} / p90 {outside[1]:.1f}",
        _goal(kind, pattern, delays[2], slip[2]),
    )


def _goal(kind: str, pattern: Pattern, p99_mm: float, p99_slip: float) -> str:
    is_coarse = not kind.startswith("fine")
    if pattern is Pattern.DRAG_CLOG_20:
        most = CLOG_SLIP[is_coarse]
        return f"slip ≤ {most:.0%}: {'met' if p99_slip <= most and isfinite(p99_mm) else 'MISSED'}"
    if pattern not in MOST_MM:
        return "–"
    most = MOST_MM[pattern][is_coarse]
    return f"≤ {most:g}: {'met' if p99_mm <= most else 'MISSED'}"


def class_tables(kinds: Sequence[str], seeds: range) -> Iterator[str]:
    """Confusion of classes for each kind of rig and each ablation of the evidence."""
    for kind in kinds:
        for name, confusion in _confusions(kind, seeds).items():
            yield f"\n{kind}, evidence: {name}; macro recall {macro_recall(confusion):.1%}; {_split(confusion)}\n"
            yield from rows_of(_confusion_rows(confusion))


def _confusions(kind: str, seeds: range) -> dict[str, dict[Pattern, Counter[str]]]:
    """Told class by ablation and true pattern."""
    counts = {name: {pattern: Counter[str]() for pattern in MERGED} for name in ABLATIONS}
    for pattern in MERGED:
        for seed in seeds:
            case = _case(kind, pattern, seed)
            for name, ablation in ABLATIONS.items():
                counts[name][pattern][TOLD_AS[judge(case, ablation(case.telemetry)).final]] += 1
    return counts


def _case(kind: str, pattern: Pattern, seed: int) -> Case:
    return healthy_case(kind, seed, 2_000.0) if pattern is Pattern.HEALTHY else fault_case(kind, pattern, seed)


def macro_recall(confusion: dict[Pattern, Counter[str]]) -> float:
    """Mean over the five merged classes of the share told rightly, each pattern of a class weighing the same."""
    recalls: dict[str, list[float]] = {}
    for pattern, merged in MERGED.items():
        told = confusion[pattern]
        right = sum(count for name, count in told.items() if _merged(name) == merged)
        recalls.setdefault(merged, []).append(right / told.total())
    return sum(sum(shares) / len(shares) for shares in recalls.values()) / len(recalls)


def _merged(told: str) -> str:
    return "stopped" if told in OF_STOPPED else told


def _split(confusion: dict[Pattern, Counter[str]]) -> str:
    shares = {pattern: confusion[pattern][right] / confusion[pattern].total() for pattern, right in SPLIT.items()}
    tails = (shares[Pattern.RUN_OUT] + shares[Pattern.TANGLE]) / 2
    mean = (shares[Pattern.GRINDING] + tails) / 2
    return f"grinding {shares[Pattern.GRINDING]:.1%}, run-out or tangle {tails:.1%}, mean of the split {mean:.1%}"


def _confusion_rows(confusion: dict[Pattern, Counter[str]]) -> Iterator[Sequence[str]]:
    yield ("truth \\ told", *COLUMNS)
    for pattern, told in confusion.items():
        yield (str(pattern), *(str(told[column]) for column in COLUMNS))


def measure(hours: float = 20.0, seeds: int = 20) -> dict[str, float]:
    """Figures of a short run, for `tests.benchmark`."""
    loop = bare_loop(demo_profile().parameters, BARE_TICKS)
    bare_s = min(seconds(loop) for _ in range(3))
    tally = healthy_hours("fine", hours)
    bare_s = min(bare_s, *(seconds(loop) for _ in range(3)))
    stops = quantiles([judge(fault_case("fine", Pattern.STOPS, seed)).delay_mm for seed in range(seeds)])
    slips = quantiles([judge(fault_case("fine", Pattern.SLIP_30, seed)).delay_mm for seed in range(seeds)])
    sample_s = tally.judged_s / tally.samples
    return {
        "a sample of one input": sample_s / (bare_s / BARE_TICKS),
        "a sample of one input [µs]": sample_s * 1e6,
        "healthy feeding judged": tally.feeding_h / tally.judged_s * 60,
        "false alarms in healthy feeding": float(tally.alarms),
        "feed until a strand that stops is told": stops[2],
        "feed until 30 % slip is told": slips[2],
    }


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description="Stall detection, judged by cases of another hand.")
    parser.add_argument("--short", action="store_true", help="a few seconds, for a first look")
    parser.add_argument("--hours", type=float, help="healthy feeding hours")
    parser.add_argument("--seeds", type=int, help="cases per pattern and rig")
    parser.add_argument("--rig", choices=list(KINDS), action="append", help="this kind of rig only; may be repeated")
    parser.add_argument("--part", choices=PARTS, action="append")
    parser.add_argument("--from-seed", type=int, default=0, help="cases that nobody has looked at yet")
    arguments = parser.parse_args()
    kinds = arguments.rig or list(KINDS)
    hours = arguments.hours or (4.0 if arguments.short else 3_600.0)
    seeds = arguments.seeds or (4 if arguments.short else 300)
    seed = arguments.from_seed
    parts = arguments.part or PARTS
    if "alarms" in parts:
        _print(rows_of(false_alarm_table(kinds, hours, seed)), f"False alarms in {hours:g} healthy feeding hours")
    if "delays" in parts:
        _print(rows_of(delay_table(kinds, range(seed, seed + seeds))), "Delay from the true onset, commanded mm")
    if "classes" in parts:
        apart = seed + 10_000  # no case of the delays
        _print(class_tables(kinds, range(apart, apart + max(1, seeds // 6))), "Classes")
    if "heater" in parts:
        _print(rows_of(heater_table(range(seed, seed + seeds))), "Heater alone: delay of a full stall, commanded mm")
        _print(rows_of(heater_alarm_table(hours / 4, seed)), "Heater alone: false alarms in healthy feed")


def _print(lines: Iterator[str], title: str) -> None:
    sys.stdout.write(f"\n### {title}\n\n")
    for line in lines:
        sys.stdout.write(f"{line}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
