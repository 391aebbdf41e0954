"""How a watch goes on with a recording that was taken up: what is recorded at the seam, shown at once, and said.

Owns the words of the seam. Knows nothing of files, engines or options.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from connectors.clean_text import clean_text
from connectors.link import Link
from connectors.recording import Conclusion
from connectors.telemetry import LinkChange, Tick
from monitor.clock_text import span_text
from monitor.core.alert_types import AlertState, AlertTransition
from monitor.core.assessment import Assessment
from monitor.plain_data import transition_data
from monitor.resume.catching_up import TakenUp
from monitor.resume.feed import CarriedCounters
from monitor.resume.link import ResumedLink
from monitor.resume.time_away import Unwatched, unwatched

_UNSEEN: Final = frozenset({AlertState.UNACKNOWLEDGED, AlertState.LATCHED})


@dataclass(frozen=True, slots=True)
class Standing:
    """A step in which nothing happens, but what stands is told."""

    event: Tick
    transitions: tuple[AlertTransition, ...]
    assessment: Assessment


@dataclass(frozen=True, slots=True)
class Resumption:
    """A recording that was taken up, and how long nobody watched before the watch goes on."""

    taken: TakenUp
    gap: Unwatched

    @property
    def time_s(self) -> float:
        """Time of the recording at which the watch goes on [s]."""
        return self.gap.time_s

    @property
    def gap_text(self) -> str:
        """How long nobody watched, in words."""
        if self.gap.is_known:
            return f"nobody watched for {span_text(self.gap.gap_s)}"
        return "the time of day was set back, so nobody knows how long nobody watched; it counts as no time at all"

    @property
    def notice(self) -> str:
        """That the watch was resumed, for the owner to see."""
        return f"resumed from {clean_text(self.taken.path.name)}: {self.gap_text}"

    def lines(self) -> list[str]:
        """What the owner is told before the watch goes on."""
        caught_up = self.taken.caught_up
        told = f"resumed from {clean_text(str(self.taken.path), 500)}: {span_text(caught_up.last_s)} of watching;"
        missing = "note: parts of that recording are missing, so doses and alerts may stand otherwise than they stood"
        return [f"{told} {self.gap_text}", *([missing] if self.taken.skipped or caught_up.has_gaps else [])]

    def link(self, link: Link) -> ResumedLink:
        """The link of the watch that goes on; the clock of `link` must have begun at `time_s`."""
        reason = f"the watch was started anew: {self.gap_text}"
        seam = LinkChange(self.time_s, available=False, reason=reason, feed_unknown=True)
        return ResumedLink(link, seam, CarriedCounters(self.taken.caught_up.counters_mm))

    def seam_lines(self, now: datetime) -> list[Conclusion]:
        """What is to be recorded first: what was not written then, and that the watch goes on."""
        told = [Conclusion("alert", it.time_s, transition_data(it)) for it in self.taken.caught_up.unwritten]
        gap_s = self.gap.gap_s if self.gap.is_known else None
        return [*told, Conclusion("resumed", self.time_s, {"wall": now, "gap_s": gap_s, "reason": self.gap_text})]

    def standing(self) -> Standing | None:
        """What nobody has acknowledged yet, to be shown once more; None when nothing was ever judged."""
        step = self.taken.caught_up.step
        if step is None:
            return None
        calling = [it for it in step.assessment.alerts if it.state in _UNSEEN and not it.folded_under]
        told = (AlertTransition(self.time_s, "goes on", alert, alert.state, "engine") for alert in calling)
        return Standing(Tick(self.time_s), tuple(told), step.assessment)


def resumption(taken: TakenUp, now: datetime) -> Resumption:
    """The watch that was taken up goes on `now`."""
    caught_up = taken.caught_up
    return Resumption(taken, unwatched(caught_up.pair, caught_up.last_s, now))
