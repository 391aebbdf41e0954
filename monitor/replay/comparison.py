"""Holds the alerts of a replay against those recorded at the time. Pure."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import Any, Final

from connectors.recording import Conclusion
from monitor.clock_text import clock_text
from monitor.core.alert_types import AlertTransition
from monitor.plain_data import transition_data

SAME_TIME_S: Final = 1e-6
_COMPARED: Final = ("event", "id", "priority", "state")
_SHOWN: Final = 3


@dataclass(frozen=True, slots=True)
class AlertMark:
    """What two changes of an alert must have in common to be the same one."""

    time_s: float
    facts: tuple[Any, ...]

    def agrees(self, other: "AlertMark | None") -> bool:
        """Whether both are the same change."""
        return other is not None and self.facts == other.facts and abs(self.time_s - other.time_s) <= SAME_TIME_S

    def __str__(self) -> str:
        event, alert_id, priority, _state = self.facts
        return f"{clock_text(self.time_s)} {priority} {event} {alert_id}"


def recorded_mark(conclusion: Conclusion) -> AlertMark:
    """Mark of a recorded change."""
    return AlertMark(conclusion.time_s, tuple(conclusion.data.get(key) for key in _COMPARED))


def replayed_mark(transition: AlertTransition) -> AlertMark:
    """Mark of a change in the replay."""
    data = transition_data(transition)
    return AlertMark(transition.time_s, tuple(data[key] for key in _COMPARED))


def comparison_lines(
    recorded: Sequence[AlertMark], replayed: Sequence[AlertMark], cut_off_s: float | None
) -> Iterator[str]:
    """Tell whether the replay comes to the recorded conclusions.

    Parameters
    ----------
    recorded, replayed : sequences of AlertMark
        In the order in which they happened.
    cut_off_s : float or None
        Time of the last event when the watch was cut off then: conclusions from it may not have been written any more.
    """
    replayed = _without_unwritten(recorded, replayed, cut_off_s)
    pairs = [pair for pair in zip_longest(recorded, replayed) if not _agree(*pair)]
    if not pairs:
        yield f"conclusions: as recorded then (changes of alerts: {len(recorded)})"
        return
    yield f"conclusions DIFFER from those recorded then (changes of alerts: {len(recorded)} then, {len(replayed)} now)"
    for then, now in pairs[:_SHOWN]:
        yield f"  then: {then or 'nothing'}; now: {now or 'nothing'}"
    if len(pairs) > _SHOWN:
        yield f"  and {len(pairs) - _SHOWN} more"


def _without_unwritten(
    recorded: Sequence[AlertMark], replayed: Sequence[AlertMark], cut_off_s: float | None
) -> Sequence[AlertMark]:
    if cut_off_s is None:
        return replayed
    beyond = replayed[len(recorded) :]
    return [*replayed[: len(recorded)], *(mark for mark in beyond if mark.time_s < cut_off_s)]


def _agree(then: AlertMark | None, now: AlertMark | None) -> bool:
    return then is not None and then.agrees(now)
