"""What was the first failure of a watch: harm before warnings, warnings before missing data, each by time.

Owns that order. Does not ask why.
"""

from collections.abc import Iterator
from typing import Final

from monitor.core.alert_types import Priority
from monitor.report.cause_types import Failure
from monitor.report.gathered import Gathered
from monitor.report.incidents import Incident

_DATA: Final = frozenset({"link"})
_HARMFUL: Final = frozenset({"stall", "melt", "ceiling", "shared"})
"""Conditions whose alert tells that something has happened; others tell what may come."""
_SOON_S: Final = 60.0
_HARMFUL_AS_ALARM: Final = frozenset({"liner"})


def first_failure(gathered: Gathered) -> Failure | None:
    """The first harm; failing that the first warning; failing that the first loss of data; None when all went well."""
    for kind in (_harms, _warnings, _losses):
        found = sorted(kind(gathered), key=lambda failure: failure.time_s)
        if found:
            return found[0]
    return None


def incident_failure(incident: Incident, *, is_harm: bool) -> Failure:
    """An alert taken for a failure."""
    return Failure(incident.condition, incident.subject, incident.input, incident.raised_s, is_harm, incident)


def _harms(gathered: Gathered) -> Iterator[Failure]:
    for told in gathered.incidents:
        is_alarm = told.condition in _HARMFUL_AS_ALARM and told.priority is Priority.ALARM
        if told.condition in _HARMFUL or is_alarm:
            yield incident_failure(told, is_harm=True)
    for strand in gathered.strands:
        subject = f"input {strand.input}"
        limits = (("dose", strand.dose_limit_s), ("softening", strand.softening_limit_s))
        for condition, time_s in limits:
            if time_s is not None:
                incident = _latest(gathered, condition, strand.input, time_s)
                yield Failure(condition, subject, strand.input, time_s, True, incident)  # noqa: FBT003 -- a field
    for stalled in gathered.stalled:  # skipping is told by the alert of a cold manifold
        incident = _latest(gathered, "stall", stalled.input, stalled.seen_s) or _cold(gathered, stalled.seen_s)
        yield Failure("stall", f"input {stalled.input}", stalled.input, stalled.seen_s, True, incident)  # noqa: FBT003


def _warnings(gathered: Gathered) -> Iterator[Failure]:
    for incident in gathered.incidents:
        if incident.priority > Priority.CAUTION and incident.condition not in _DATA:
            yield incident_failure(incident, is_harm=False)


def _losses(gathered: Gathered) -> Iterator[Failure]:
    for silence in gathered.silences:
        if silence.length_s > gathered.unavailable_after_s:
            alert = next((told for told in gathered.incidents if _is_of(told, silence.from_s, silence.until_s)), None)
            yield Failure("link", "link", None, silence.from_s, False, alert)  # noqa: FBT003 -- a field


def _is_of(incident: Incident, from_s: float, until_s: float) -> bool:
    return incident.condition in _DATA and from_s <= incident.raised_s <= until_s


def _cold(gathered: Gathered, until_s: float) -> Incident | None:
    """The alert of a cold manifold that skipping strands are folded under."""
    found = [told for told in gathered.incidents if told.condition == "cold_feed"]
    return next((told for told in found if told.raised_s <= until_s + _SOON_S), None)


def _latest(gathered: Gathered, condition: str, number: int, until_s: float) -> Incident | None:
    """The alert of this kind that stood when it came so far."""
    found = [told for told in gathered.incidents if told.condition == condition and told.input == number]
    return next((told for told in reversed(found) if told.raised_s <= until_s + 1.0), None)
