"""Reads a recording bit by bit into a timeline, its marks and its clock, so that a screen stays alive meanwhile.

Owns what is done with each line. Knows nothing of screens or of where the replay stands.
"""

import time
from typing import Final

from connectors.recording import Conclusion, Recording
from monitor.core.alert_types import AlertState, AlertTransition, Priority
from monitor.core.engine_input import EngineInput
from monitor.core.engine_state import build_model
from monitor.core.parameters import Parameters
from monitor.every import Every
from monitor.history.level import Size
from monitor.history.memory import History
from monitor.recording.inputs import input_in
from monitor.replay.checkpoints import Timeline
from monitor.replay.clock import RecordedClock
from monitor.replay.comparison import AlertMark, recorded_mark, replayed_mark
from monitor.replay.glimpse import glimpse
from monitor.replay.marks import Marks

LOOK_AT_CLOCK_EVERY: Final = 8

REMEMBERED_EVERY_S: Final = 60.0
"""Spacing of what is remembered for trends [s of machine time]: each look costs as much as a handful of events."""

HISTORY_SIZES: Final = (Size(REMEMBERED_EVERY_S, 2160), Size(240.0, 2880))
"""Levels of that history: all of it is looked at, and not only its end. A day and a half, and eight days."""
_ENDS: Final = frozenset({"end", "resumed"})
_AT_REST: Final = frozenset({AlertState.NORMAL, AlertState.RETURNED})


class Reading:
    """One straight run through a recording.

    Parameters
    ----------
    recording : Recording
        The file.
    parameters : Parameters
        What it is judged with.
    """

    def __init__(self, recording: Recording, parameters: Parameters) -> None:
        self.recording = recording
        self.model = build_model(parameters)
        self.timeline, self.marks = Timeline(self.model), Marks(self.model)
        self.clock = RecordedClock(recording.header.start)
        self.history = History(HISTORY_SIZES)
        """What the values were, as far as it was read."""
        self._is_due = Every(REMEMBERED_EVERY_S)
        self.begin_s: float | None = None
        """Time of the first event [s]; None before it."""
        self.is_over = False
        """Whether all of the file was read."""
        self.is_complete = False
        """Whether the end line of the watch was reached."""
        self.has_gaps = False
        """Whether lines could not be written then."""
        self.recorded: list[AlertMark] = []
        self.replayed: list[AlertMark] = []
        self.has_alarm = False
        """Whether an ALARM occurred."""
        self._items = recording.items()

    def go_on(self, for_s: float) -> None:
        """Read for about so long [s of the processor's clock]."""
        until_s = time.perf_counter() + for_s
        for number, item in enumerate(self._items):
            self._take(item)
            if number % LOOK_AT_CLOCK_EVERY == 0 and time.perf_counter() >= until_s:
                return
        self.is_over = True

    def close(self) -> None:
        """Let go of the file."""
        self._items.close()

    def _take(self, item: EngineInput | Conclusion) -> None:
        if not isinstance(item, Conclusion):
            self._judge(item)
            return
        told = input_in(item)
        if told is not None:
            self._judge(told)
        else:
            self._set_aside(item)

    def _judge(self, event: EngineInput) -> None:
        if self.begin_s is None:
            self.begin_s = event.time_s
        before = self.timeline.head
        told = self.timeline.take(event)
        self.marks.take(before, self.timeline.head, event, told, self.timeline.count)
        if self._is_due(self.timeline.head.time_s):
            self.history.take(glimpse(self.model, self.timeline.head))
        self.replayed += map(replayed_mark, told)
        self.has_alarm = self.has_alarm or any(map(_is_alarm, told))

    def _set_aside(self, conclusion: Conclusion) -> None:
        self.clock.take(conclusion)
        if conclusion.kind == "alert":
            self.recorded.append(recorded_mark(conclusion))
        if conclusion.kind in _ENDS:
            self.is_complete = conclusion.kind == "end"
        self.has_gaps = self.has_gaps or conclusion.kind == "gap"


def _is_alarm(transition: AlertTransition) -> bool:
    alert = transition.alert
    return alert.priority is Priority.ALARM and alert.state not in _AT_REST and not alert.folded_under
