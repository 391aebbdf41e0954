"""One pass over a recording, step by step, into what the report is made of. Pure: is handed everything.

Assessments are looked at once a minute and whenever an alert changes.
"""

from dataclasses import replace
from typing import Final

from connectors.recording import Conclusion
from connectors.telemetry import LinkChange, Malformed, Sample
from monitor.core.assessment import Activity, Assessment, StrandAssessment
from monitor.core.parameters import Parameters, Strand
from monitor.report.capped import Capped
from monitor.report.gathered import Gathered, Silence, Stalled, StrandFacts, Told
from monitor.report.incidents import IncidentBook
from monitor.report.rows import Row, Rows, StrandPoint
from monitor.report.samples import Travel, Walls
from monitor.step import Step

_MOST_TOLD: Final = 400
_MOST_SILENCES: Final = 500
_TOLD: Final = frozenset({"acknowledge", "request", "notification", "fault", "gap", "resumed", "end"})


class Gatherer:
    """Takes steps and recorded lines in their order.

    Parameters
    ----------
    parameters : Parameters
        Of the machine that the recording is of.
    """

    def __init__(self, parameters: Parameters) -> None:
        self._parameters = parameters
        self._sensors = parameters.sensors
        self._rows = Rows()
        self._row_due_s: float | None = None
        self._walls = Walls(self._sensors)
        self._travels = {strand.input: Travel() for strand in parameters.strands}
        self._strands = {strand.input: _facts(strand) for strand in parameters.strands}
        self._stalled: dict[int, Stalled] = {}
        self._incidents = IncidentBook()
        self._silences: Capped[Silence] = Capped(_MOST_SILENCES)
        self._told: Capped[Told] = Capped(_MOST_TOLD)
        self._clocks: list[Told] = []
        self._counts = {"samples": 0, "malformed": 0, "link changes": 0}
        self._sample_s: float | None = None
        self._begin_s: float | None = None
        self._end_s = 0.0
        self._is_fresh = self._is_told = False
        self._progress: float | None = None

    def take(self, step: Step) -> None:
        """Add what the engine made of one event."""
        self._end_s = max(self._end_s, step.event.time_s)
        self._begin_s = self._end_s if self._begin_s is None else self._begin_s
        match step.event:
            case Sample() as sample:
                self._take_sample(sample)
            case LinkChange() as change:
                self._counts["link changes"] += 1
                self._is_told = self._is_told or not change.available
            case Malformed():
                self._counts["malformed"] += 1
            case _:
                pass
        for transition in step.transitions:
            self._incidents.take(transition)
        is_due = self._row_due_s is None or self._end_s >= self._row_due_s
        # what a strand does from a stall on is told apart from what it did before
        is_due = is_due or any(transition.alert.condition == "stall" for transition in step.transitions)
        if is_due or step.transitions:
            self._look(step.assessment, is_due=is_due)

    def take_line(self, line: Conclusion) -> None:
        """Add a recorded line that is no event: a request, a notification, a seam."""
        told = Told(line.kind, line.time_s, line.data)
        if line.kind == "clock":
            self._clocks = [*self._clocks[:1], told]
        elif line.kind in _TOLD:
            self._told.add(told)

    def gathered(self) -> Gathered:
        """All of it, as far as taken."""
        begin_s = 0.0 if self._begin_s is None else self._begin_s
        self._take_silence(self._end_s, begin_s)
        merge, cold = merge_and_cold(self._parameters)
        limits = self._parameters.limits
        return Gathered(
            sensors=self._sensors,
            merge_sensor=merge,
            cold_sensor=cold,
            stale_after_s=limits.stale_after_s,
            unavailable_after_s=limits.unavailable_after_s,
            begin_s=begin_s,
            end_s=self._end_s,
            every_s=self._rows.every_s,
            rows=self._rows.rows,
            incidents=self._incidents.incidents(),
            stalled=tuple(sorted(self._stalled.values(), key=lambda stalled: stalled.seen_s)),
            strands=tuple(self._strands.values()),
            set_changes=self._walls.changes.kept,
            silences=self._silences.kept,
            told=(*self._told.kept, *self._clocks),
            counts=dict(self._counts),
            progress=self._progress,
            dropped=self._dropped(),
        )

    def _dropped(self) -> dict[str, int]:
        found = {
            "alerts": self._incidents.dropped,
            "gaps": self._silences.dropped,
            "requests, messages and notes": self._told.dropped,
            "changes of set points": self._walls.changes.dropped,
        }
        return {kind: count for kind, count in found.items() if count}

    def _take_sample(self, sample: Sample) -> None:
        self._counts["samples"] += 1
        self._is_fresh = True
        self._take_silence(sample.time_s, sample.time_s if self._begin_s is None else self._begin_s)
        self._sample_s, self._is_told = max(sample.time_s, self._sample_s or 0.0), False
        self._walls.take(sample)
        for number, travel in self._travels.items():
            travel.take(sample, number)
        self._progress = sample.values.get("progress", self._progress)

    def _take_silence(self, until_s: float, begin_s: float) -> None:
        from_s = begin_s if self._sample_s is None else self._sample_s
        if until_s - from_s > self._parameters.limits.stale_after_s:
            self._silences.add(Silence(from_s, until_s, self._is_told))

    def _look(self, assessment: Assessment, *, is_due: bool) -> None:
        for strand in assessment.strands:
            self._strands[strand.input] = _after(self._strands[strand.input], strand, self._end_s)
            self._take_stall(strand)
        for number, travel in self._travels.items():
            self._strands[number] = replace(self._strands[number], last_fed_s=travel.last_fed_s)
        if not is_due:
            return
        strands = tuple(_point(strand, self._travels[strand.input]) for strand in assessment.strands)
        self._rows.add(Row(self._end_s, self._is_fresh, self._walls.points(), strands))
        self._is_fresh = False
        self._row_due_s = self._end_s + self._rows.every_s

    def _take_stall(self, strand: StrandAssessment) -> None:
        known, finding = self._stalled.get(strand.input), strand.stall
        if finding is None:
            return
        if known is None or not known.finding.is_final:
            seen_s = self._end_s if known is None else known.seen_s
            self._stalled[strand.input] = Stalled(strand.input, seen_s, finding)
        elif finding.is_final:
            self._stalled[strand.input] = known._replace(later=known.later | {finding.pattern})


def merge_and_cold(parameters: Parameters) -> tuple[int | None, int | None]:
    """Indices, among the sensors, of the one at the merge point and of the first zone's, the cold end."""
    last = parameters.zones[parameters.last_before_merge].sensor
    first = parameters.zones[0].sensor
    names = parameters.sensors
    merge = names.index(last) if last is not None else None
    return merge, names.index(first) if first is not None and first != last else None


def _facts(strand: Strand) -> StrandFacts:
    material = strand.material
    return StrandFacts(
        input=strand.input,
        min_feed_c=material.min_feed_c,
        min_feed_is_rule=material.min_feed_is_rule,
        glass_c=material.glass_c,
    )


def _after(facts: StrandFacts, strand: StrandAssessment, now_s: float) -> StrandFacts:
    idle_s = strand.idle_s if strand.activity is Activity.IDLE else 0.0

    def first(known_s: float | None, *, is_passed: bool) -> float | None:
        return now_s if known_s is None and is_passed else known_s

    return replace(
        facts,
        warn_share=strand.dose_warn_min / strand.dose_limit_min,
        highest_dose_share=max(facts.highest_dose_share, strand.dose_share),
        longest_idle_s=max(facts.longest_idle_s, idle_s),
        dose_warn_s=first(facts.dose_warn_s, is_passed=strand.dose_now_min >= strand.dose_warn_min),
        dose_limit_s=first(facts.dose_limit_s, is_passed=strand.dose_now_min >= strand.dose_limit_min),
        softening_warn_s=first(facts.softening_warn_s, is_passed=strand.softening_min >= strand.softening_warn_min),
        softening_limit_s=first(facts.softening_limit_s, is_passed=strand.softening_min >= strand.softening_limit_min),
        doubt=strand.doubt or facts.doubt,
    )


def _point(strand: StrandAssessment, travel: Travel) -> StrandPoint:
    return StrandPoint(
        activity=strand.activity,
        idle_s=strand.idle_s,
        dose_share=strand.dose_share,
        softening_share=strand.softening_min / strand.softening_limit_min,
        merge_wall_c=strand.merge_wall_c,
        commanded_mm=travel.commanded_mm,
        sensed_mm=travel.sensed_mm,
        commanded_travel_mm=travel.commanded_travel_mm,
        sensed_travel_mm=travel.sensed_travel_mm,
        flags=travel.flags,
    )
