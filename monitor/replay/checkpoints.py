"""A recording as states of the engine at any place: checkpoints, and the events between them, packed.

Pure in what it concludes: a state is always that of a straight run, whatever way it is reached. Memory is bounded by
`MOST_STATES`; beyond that many, every other one is dropped and reached from the one before it. Knows nothing of files,
clocks or screens.
"""

import pickle
import zlib
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from itertools import accumulate
from typing import Final

from connectors.telemetry import Sample
from monitor.core.alert_types import AlertTransition
from monitor.core.engine import advance
from monitor.core.engine_input import EngineInput
from monitor.core.engine_state import EngineState, Model, initial_state

SPACING_S: Final = 240.0
"""Machine time from one checkpoint to the next [s]: some 60 steps of the field."""

SPACING_EVENTS: Final = 600
"""A stretch ends after so many events at the latest."""

MOST_STATES: Final = 1536
"""So many checkpoints are kept, some 40 kB each: those of four days, or of a day with ten samples a second."""

_FAST: Final = 1  # zlib's quickest level: packing must not slow the reading down


class Timeline:
    """States of one recording, taken in event by event and asked for in any order.

    Places are counts: how many events had been told.

    Parameters
    ----------
    model : Model
        What judges the events.
    """

    def __init__(self, model: Model) -> None:
        self._model = model
        self.head = initial_state(model)
        """State after all events so far."""
        self.count = 0
        """Events so far."""
        self._packed: list[bytes] = []  # the events of every stretch that is over
        self._firsts: list[int] = [0]  # per stretch, the open one included: events before it, and time by then
        self._begins_s: list[float] = [self.head.time_s]
        self._states: dict[int, EngineState] = {0: self.head}
        self._open: list[EngineInput] = []
        self._spacing = 1  # stretches from one checkpoint to the next
        self._unpacked: tuple[int, Sequence[EngineInput]] = (-1, ())
        self._recent = (0, self.head)

    def take(self, event: EngineInput) -> tuple[AlertTransition, ...]:
        """Judge one more event; return the alerts that changed with it."""
        spent_s = self.head.time_s - self._begins_s[-1]
        if len(self._open) >= SPACING_EVENTS or (self._open and spent_s >= SPACING_S):
            self._close_stretch()
        self.head, told = advance(self._model, self.head, event)
        self._open.append(event)
        self.count += 1
        return told

    def state_at(self, count: int) -> EngineState:
        """State after the first `count` events."""
        at, state = self._nearest(count)
        for event in self._events(at, count):
            state, _ = advance(self._model, state, event)
        self._recent = (count, state)
        return state

    def count_at(self, time_s: float) -> int:
        """How many events had been told by this time."""
        place = max(0, bisect_right(self._begins_s, time_s) - 1)
        times = accumulate((event.time_s for event in self._in(place)), max, initial=self._begins_s[place])
        return self._firsts[place] + max(0, bisect_right(list(times), time_s) - 1)

    def time_at(self, count: int) -> float:
        """Time of the newest of the first `count` events [s]."""
        place = self._place(count)
        told = self._in(place)[: count - self._firsts[place]]
        return max((event.time_s for event in told), default=self._begins_s[place])

    def sample_after(self, count: int) -> int | None:
        """Place just after the next sample; None when there is none."""
        found = (at for at, event in enumerate(self._events(count, self.count), count + 1) if isinstance(event, Sample))
        return next(found, None)

    def sample_before(self, count: int) -> int | None:
        """Place just after the newest sample that lies before this place's own last event; None without one."""
        for place in range(self._place(max(0, count - 1)), -1, -1):
            told = self._in(place)[: max(0, count - 1 - self._firsts[place])]
            for at in range(len(told), 0, -1):
                if isinstance(told[at - 1], Sample):
                    return self._firsts[place] + at
        return None

    @property
    def states_kept(self) -> int:
        """How many checkpoints there are."""
        return len(self._states)

    @property
    def packed_bytes(self) -> int:
        """What the packed events take."""
        return sum(map(len, self._packed))

    def _close_stretch(self) -> None:
        place = len(self._packed)
        self._packed.append(zlib.compress(pickle.dumps(self._open, pickle.HIGHEST_PROTOCOL), _FAST))
        self._firsts.append(self.count)
        self._begins_s.append(self.head.time_s)
        self._open = []
        if (place + 1) % self._spacing == 0:
            self._states[place + 1] = self.head
        if len(self._states) > MOST_STATES:
            self._spacing *= 2
            self._states = {at: state for at, state in self._states.items() if at % self._spacing == 0}

    def _nearest(self, count: int) -> tuple[int, EngineState]:
        """The known state nearest before this place: a checkpoint, the one asked for last, or the newest."""
        place = self._place(count)
        place -= place % self._spacing
        known = [(self._firsts[place], self._states[place]), self._recent, (self.count, self.head)]
        return max((it for it in known if it[0] <= count), key=lambda it: it[0])

    def _place(self, count: int) -> int:
        """Index of the stretch that holds the event after this place, or of the last one."""
        return bisect_right(self._firsts, count) - 1

    def _events(self, begin: int, end: int) -> Iterator[EngineInput]:
        while begin < end:
            place = self._place(begin)
            first = self._firsts[place]
            told = self._in(place)[begin - first : end - first]
            if not told:
                return
            yield from told
            begin += len(told)

    def _in(self, place: int) -> Sequence[EngineInput]:
        if place == len(self._packed):
            return self._open
        if self._unpacked[0] != place:
            events = pickle.loads(zlib.decompress(self._packed[place]))  # noqa: S301 -- packed above, in memory
            self._unpacked = (place, events)
        return self._unpacked[1]


def judged(events: Iterable[EngineInput], model: Model) -> Timeline:
    """Timeline of all these events."""
    timeline = Timeline(model)
    for event in events:
        timeline.take(event)
    return timeline
