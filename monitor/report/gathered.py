"""What one pass over a recording leaves behind: frozen, bounded, without any name that its header gives.

Causes are found from this alone, so a name can never give an answer away.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from monitor.core.stall_findings import StallFinding, StallPattern
from monitor.report.incidents import Incident
from monitor.report.rows import Row
from monitor.report.samples import SetChange


class Silence(NamedTuple):
    """A stretch without fresh samples; `is_told` when the link itself noticed."""

    from_s: float
    until_s: float
    is_told: bool

    @property
    def length_s(self) -> float:
        """How long it was [s]."""
        return self.until_s - self.from_s


class Stalled(NamedTuple):
    """The first time that a strand did not move as it should: when it was seen, and what it turned out to be.

    `later` has what else it was settled to be further on, each once.
    """

    input: int
    seen_s: float
    finding: StallFinding
    later: frozenset[StallPattern] = frozenset()


@dataclass(frozen=True, slots=True)
class StrandFacts:
    """One strand through the watch; a time is None where it never came to that."""

    input: int
    min_feed_c: float
    min_feed_is_rule: bool
    glass_c: float
    highest_dose_share: float = 0.0
    warn_share: float = 1.0
    longest_idle_s: float = 0.0
    dose_warn_s: float | None = None
    dose_limit_s: float | None = None
    softening_warn_s: float | None = None
    softening_limit_s: float | None = None
    last_fed_s: float | None = None
    doubt: str = ""


@dataclass(frozen=True, slots=True)
class Told:
    """A line of the recording that is no input: what the owner asked, what became of a message, seams, faults."""

    kind: str
    time_s: float
    data: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Gathered:
    """All that a report is made of, beside the header."""

    sensors: tuple[str, ...]
    merge_sensor: int | None  # index in `sensors` of the one at the merge point
    cold_sensor: int | None  # likewise of the cold end
    stale_after_s: float
    unavailable_after_s: float
    begin_s: float
    end_s: float
    every_s: float
    rows: tuple[Row, ...]
    incidents: tuple[Incident, ...]
    stalled: tuple[Stalled, ...]
    strands: tuple[StrandFacts, ...]
    set_changes: tuple[SetChange, ...]
    silences: tuple[Silence, ...]
    told: tuple[Told, ...]
    counts: Mapping[str, int]
    progress: float | None = None
    dropped: Mapping[str, int] = field(default_factory=dict)
    """What was too much to keep, by kind."""

    @property
    def silent_s(self) -> float:
        """Time without fresh samples [s]."""
        return sum(silence.length_s - self.stale_after_s for silence in self.silences)

    def strand_at(self, number: int) -> int:
        """Index of an input."""
        return [strand.input for strand in self.strands].index(number)
