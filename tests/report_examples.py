"""Recordings for the tests of reports: those of the folder, simulated nights, and either with something changed."""

from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from connectors.recording import Conclusion, Header, Recording
from connectors.simulated_scenarios import SCENARIOS
from connectors.telemetry import Event, Sample
from monitor.config import profile_from_tables
from monitor.core.parameters import Parameters
from monitor.report.cause_types import Findings
from monitor.report.causes import find_causes
from monitor.report.gathered import Gathered
from monitor.report.reading import read
from tests.make_replays import FOLDER, Take, record

Items = Iterator[Event | Conclusion]


class Changed(Recording):
    """A recording of which something is changed as it is read."""

    def __init__(self, path: Path, change: Callable[[Items], Items]) -> None:
        super().__init__(path)
        self._change = change

    def items(self) -> Generator[Event | Conclusion, None, None]:
        """What is read, changed."""
        yield from self._change(super().items())


@dataclass(frozen=True, slots=True)
class Judged:
    """A recording as gathered, and what was found in it."""

    gathered: Gathered
    findings: Findings


def parameters_of(header: Header) -> Parameters:
    """What the engine is told by a header."""
    return profile_from_tables(header.profile, header.materials, "a test").parameters


def judged(recording: Recording) -> Judged:
    """Read it and find its causes."""
    gathered, _ = read(recording, parameters_of(recording.header))
    return Judged(gathered, find_causes(gathered))


def replay(name: str) -> Path:
    """One of the recordings that the project ships."""
    return FOLDER / f"{name}.jsonl.zst"


def night(name: str, folder: Path, hours: float, *, period_s: float = 4.0, onset_s: float | None = None) -> Path:
    """A simulated night, its fault sooner where `onset_s` is given."""
    scenario, path = SCENARIOS[name], folder / f"{name}.jsonl"
    if onset_s is not None and scenario.fault is not None:
        scenario = replace(scenario, fault=replace(scenario.fault, onset_s=onset_s))
    record(Take(scenario, hours, period_s), path)
    return path


def samples_changed(change: Callable[[Sample], Sample]) -> Callable[[Items], Items]:
    """A change of every sample, and of nothing else."""

    def changed(items: Items) -> Items:
        for item in items:
            yield change(item) if isinstance(item, Sample) else item

    return changed


def without_channels(*kinds: str) -> Callable[[Items], Items]:
    """Samples that lack all channels of these kinds, or these channels."""

    def drop(sample: Sample) -> Sample:
        kept = {name: value for name, value in sample.values.items() if not {name, name.partition(":")[0]} & {*kinds}}
        return replace(sample, values=kept)

    return samples_changed(drop)
