"""What is worth a mark or a jump in a recording: alerts, doses that pass a mark, gaps in the data, feed.

Looks at every event of a straight run once. Knows nothing of files, checkpoints or screens.
"""

from collections.abc import Iterable
from typing import Final, NamedTuple

from connectors.telemetry import Sample
from monitor.core.alert_table import ALERT_TABLE
from monitor.core.alert_types import AlertTransition
from monitor.core.engine_input import EngineInput
from monitor.core.engine_state import EngineState, Model
from monitor.replay.view import Gap, Mark, MarkKind

PAUSE_S: Final = 30.0
"""A strand that moves again sooner is taken as having moved all along [s]."""


class Fed(NamedTuple):
    """A time in which a strand was fed: its end, and the place just after the last sample that says so."""

    end_s: float
    place: int


class Marks:
    """Collects them.

    Parameters
    ----------
    model : Model
        What judges the events.
    """

    def __init__(self, model: Model) -> None:
        self._model = model
        self._strands = model.parameters.strands
        self.marks: list[Mark] = []
        """Alerts that call for somebody and doses that pass a mark, in order of time."""
        self.gaps: list[Gap] = []
        """Times without data that were longer than data may be old."""
        self.fed: dict[int, list[Fed]] = {strand.input: [] for strand in self._strands}
        """By input, when it was fed."""
        self._passed = [0] * len(self._strands)

    def take(
        self,
        before: EngineState,
        after: EngineState,
        event: EngineInput,
        told: Iterable[AlertTransition],
        count: int,
    ) -> None:
        """Look at one event: the states around it, the alerts that changed, and how many events that makes."""
        for transition in told:
            if transition.calls:
                self.marks.append(_alert_mark(transition, count))
        if after.field is not before.field:
            self._take_doses(after, count)
        if isinstance(event, Sample):
            self._take_gap(before, after)
            self._take_feed(before, after, count)

    def alert_after(self, count: int) -> Mark | None:
        """The next alert."""
        return next((mark for mark in self.marks if mark.place > count and mark.kind.priority is not None), None)

    def alert_before(self, count: int) -> Mark | None:
        """The alert before."""
        found = (mark for mark in reversed(self.marks) if mark.place < count and mark.kind.priority is not None)
        return next(found, None)

    def dose_after(self, count: int) -> Mark | None:
        """The next place where a dose passes a mark."""
        return next((mark for mark in self.marks if mark.place > count and mark.kind.priority is None), None)

    def at(self, count: int) -> Mark | None:
        """All marks at this very place as one, of the most urgent kind."""
        here = sorted((mark for mark in self.marks if mark.place == count), key=lambda mark: -mark.kind.value)
        return here[0]._replace(text="; ".join(mark.text for mark in here)) if here else None

    def fed_before(self, number: int, count: int) -> Fed | None:
        """When this input was fed last, this very place left out."""
        return next((fed for fed in reversed(self.fed.get(number, [])) if fed.place < count), None)

    def _take_doses(self, state: EngineState, count: int) -> None:
        if state.field is None:
            return
        oldest_min = self._model.field.oldest_min(state.field)
        for at, (strand, dose_min) in enumerate(zip(self._strands, oldest_min, strict=True)):
            limits_min = strand.material.warn_min, strand.material.limit_min
            passed = sum(dose_min >= limit_min for limit_min in limits_min)
            if passed > self._passed[at]:
                kind = (MarkKind.WARN_DOSE, MarkKind.LIMIT_DOSE)[passed - 1]
                words = ("warn dose", "limit dose")[passed - 1]
                self.marks.append(Mark(state.time_s, count, kind, f"input {strand.input} passes its {words}"))
            self._passed[at] = passed

    def _take_gap(self, before: EngineState, after: EngineState) -> None:
        since_s = before.sample_s
        if since_s is not None and after.time_s - since_s > self._model.longest_silence_s:
            self.gaps.append(Gap(since_s, after.time_s))

    def _take_feed(self, before: EngineState, after: EngineState, count: int) -> None:
        for strand, old, new in zip(self._strands, before.feeds.strands, after.feeds.strands, strict=True):
            if new is old or new.moved_late_s == old.moved_late_s or not new.has_fed:
                continue
            known = self.fed[strand.input]
            if known and after.time_s - known[-1].end_s <= PAUSE_S:
                known.pop()
            known.append(Fed(after.time_s, count))


def _alert_mark(transition: AlertTransition, count: int) -> Mark:
    alert = transition.alert
    title = ALERT_TABLE[alert.condition].title if alert.condition in ALERT_TABLE else alert.condition
    return Mark(
        transition.time_s, count, MarkKind[alert.priority.name], f"{alert.subject}, {title}, {transition.event}"
    )
