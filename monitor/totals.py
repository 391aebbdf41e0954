"""What a whole watch adds up to: alerts raised, idle times, doses, holes in the data. Pure."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from connectors.telemetry import LinkChange, Malformed, Sample
from monitor.core.alert_types import AlertState, AlertTransition, Priority
from monitor.core.assessment import Activity, Assessment, StrandAssessment
from monitor.core.engine_input import EngineInput
from monitor.every import Every
from monitor.step import Step

LOOK_EVERY_S: Final = 60.0
"""How often strands are looked at [s of machine time]: what is told of them is at most this much behind."""

_AT_REST: Final = frozenset({AlertState.NORMAL, AlertState.RETURNED})


@dataclass(frozen=True, slots=True)
class StrandTotals:
    """The worst of one strand: longest time hot and idle, highest dose with its limits."""

    newest: StrandAssessment
    longest_idle_s: float
    highest_dose_min: float

    def after(self, strand: StrandAssessment) -> "StrandTotals":
        """The same after another look."""
        idle_s = strand.idle_s if strand.activity is Activity.IDLE else 0.0
        return StrandTotals(strand, max(self.longest_idle_s, idle_s), max(self.highest_dose_min, strand.dose_now_min))


class Totals:
    """Adds up the steps of a watch.

    Parameters
    ----------
    stale_after_s : float
        Age at which data count as STALE [s].
    """

    def __init__(self, stale_after_s: float) -> None:
        self.events: Counter[str] = Counter()
        """Events of each kind: samples, malformed, link_changes."""
        self.silent_s = 0.0
        """Time during which the newest sample was older than `stale_after_s`, up to the newest event [s]."""
        self.begin_s: float | None = None
        """Machine time of the first event [s]; None before it."""
        self.end_s = 0.0
        self._stale_after_s = stale_after_s
        self._sample_s: float | None = None
        self._worst: dict[str, Priority] = {}
        self._strands: dict[int, StrandTotals] = {}
        self._look = Every(LOOK_EVERY_S)
        self._newest: Step | None = None

    def take(self, step: Step) -> None:
        """Add one step."""
        event = step.event
        self._newest = step
        self.begin_s = event.time_s if self.begin_s is None else self.begin_s
        self.end_s = max(self.end_s, event.time_s)
        self._count(event)
        for transition in step.transitions:
            self._take_alert(transition)
        if self._look(self.end_s):
            self._take_strands(step.assessment)

    @property
    def raised(self) -> Mapping[Priority, int]:
        """How many alerts were raised, each counted once, at its highest priority."""
        return Counter(self._worst.values())

    def strands(self) -> tuple[StrandTotals, ...]:
        """Every strand's totals, up to the newest step."""
        if self._newest is not None:
            self._take_strands(self._newest.assessment)
        return tuple(self._strands.values())

    def _count(self, event: EngineInput) -> None:
        match event:
            case Sample():
                self.events["samples"] += 1
                self._take_gap(event.time_s)
            case Malformed():
                self.events["malformed"] += 1
            case LinkChange():
                self.events["link_changes"] += 1
            case _:
                pass

    def _take_gap(self, time_s: float) -> None:
        before_s = self.begin_s if self._sample_s is None else self._sample_s
        self.silent_s += self._beyond_stale_s(time_s, time_s if before_s is None else before_s)
        self._sample_s = time_s

    def open_silence_s(self) -> float:
        """Silence at the end that no sample has ended yet [s]."""
        before_s = self.begin_s if self._sample_s is None else self._sample_s
        return 0.0 if before_s is None else self._beyond_stale_s(self.end_s, before_s)

    def _beyond_stale_s(self, time_s: float, before_s: float) -> float:
        return max(0.0, time_s - before_s - self._stale_after_s)

    def _take_alert(self, transition: AlertTransition) -> None:
        alert = transition.alert
        if alert.state not in _AT_REST and not alert.folded_under:
            self._worst[alert.id] = max(alert.priority, self._worst.get(alert.id, alert.priority))

    def _take_strands(self, assessment: Assessment) -> None:
        for strand in assessment.strands:
            before = self._strands.get(strand.input, StrandTotals(strand, 0.0, 0.0))
            self._strands[strand.input] = before.after(strand)
