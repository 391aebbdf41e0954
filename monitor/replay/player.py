"""A recording that can be moved to and fro: where it stands, how fast it moves, where it jumps to.

It is what a screen of a replay holds. Reading goes on beside it in small bites of the same thread, so that keys are
answered at once. Knows nothing of screens or files.
"""

import asyncio
import time
from collections.abc import Callable
from typing import Final

from connectors.clean_text import clean_text
from connectors.link import Clock
from monitor.core.alert_types import RequestKind
from monitor.core.alert_values import point_values
from monitor.core.assess import assess
from monitor.core.assessment import Assessment
from monitor.history.memory import History
from monitor.replay.reading import Reading
from monitor.replay.view import FASTEST, SPEEDS, Mark, ReplayView

BITE_S: Final = 0.015
"""How long reading may hold up the keys [s]."""

REST_S: Final = 0.03
FASTEST_BITE_S: Final = 0.06
"""Time between two moves, and how much of it the fastest pace may take on top [s]."""

LONGEST_MOVE_S: Final = 1.0
"""A program that was halted meanwhile does not leap on when it goes on [s]."""

EVENTS_AT_ONCE: Final = 25

Find = Callable[[], "int | None"]
"""The place of a jump, in events; None while it is not known, or where there is none."""


class Player:
    """A replay of one recording.

    Parameters
    ----------
    reading : Reading
        Reads and judges it.
    name : str
        Where the data come from, in words.
    speed : float
        Pace to begin with [machine seconds per second].
    clock : Clock
        Seconds that only go forward.
    """

    def __init__(self, reading: Reading, name: str, *, speed: float, clock: Clock = time.monotonic) -> None:
        self.source, self.notice, self.ended = name, "", None
        self.inputs = tuple(strand.input for strand in reading.model.parameters.strands)
        self._reading, self._clock = reading, clock
        self._count = 0
        self._time_s = 0.0
        self._speed, self._is_playing = speed, True
        self._moved_at_s = clock()
        self._wanted: tuple[Find, str, str] | None = None
        self._told = ""
        self._shown: tuple[int, Assessment] | None = None

    @property
    def latest(self) -> Assessment | None:
        """What was known at this place; None before the first event."""
        if self._count == 0:
            return None
        if self._shown is None or self._shown[0] != self._count:
            model, state = self._reading.model, self._reading.timeline.state_at(self._count)
            self._shown = (self._count, assess(model, state, point_values(model, state)))
        return self._shown[1]

    @property
    def history(self) -> History:
        """What the values were, as far as the recording was read: also what lies ahead of this place."""
        return self._reading.history

    @property
    def replay(self) -> ReplayView:
        """Where it stands."""
        reading, marks = self._reading, self._reading.marks
        begin_s, end_s = reading.begin_s or 0.0, reading.timeline.head.time_s
        return ReplayView(
            time_s=self._time_s,
            begin_s=begin_s,
            end_s=end_s,
            clock=f"then {reading.clock.at(self._time_s):%H:%M:%S}",
            begin_clock=f"{reading.clock.at(begin_s):%H:%M}",
            end_clock=f"{reading.clock.at(end_s):%H:%M}",
            is_playing=self._is_playing,
            speed=self._speed,
            is_read=reading.is_over,
            end=self._end_words(),
            marks=tuple(marks.marks),
            gaps=tuple(marks.gaps),
            here=marks.at(self._count),
            ahead=marks.alert_after(self._count),
            waits_for="" if self._wanted is None else self._wanted[1],
            told=self._told,
        )

    def ask(self, kind: RequestKind, alert_id: str, *, reason: str = "", for_s: float = 0.0) -> None:
        """Nothing can be asked of the past; say so."""
        del kind, alert_id, reason, for_s
        self.tell("this is a recording: what was asked of an alert then is replayed, nothing can be asked now")

    def tell(self, text: str) -> None:
        """Show an answer to the owner."""
        self._told = text

    def play_or_pause(self) -> None:
        """Let it move, or stop it; at the end, begin again."""
        self._begin_anew()
        if not self._is_playing and self._is_at_end:
            self.go_to(0.0)
        self._is_playing = not self._is_playing

    def faster(self, steps: int) -> None:
        """Take the next higher pace, or the next lower for -1."""
        self._begin_anew()
        higher = [speed for speed in SPEEDS if speed > self._speed]
        lower = [speed for speed in SPEEDS if speed < self._speed]
        if steps > 0 and higher:
            self._speed = higher[0]
        elif steps < 0 and lower:
            self._speed = lower[-1]

    def step(self, samples: int) -> None:
        """Pause, and go to the next sample, or for -1 to the one before."""
        self._is_playing = False
        timeline, count = self._reading.timeline, self._count
        find = timeline.sample_after if samples > 0 else timeline.sample_before
        self._seek(lambda: find(count), "the next sample", f"no sample {'after' if samples > 0 else 'before'} this one")

    def skip(self, by_s: float) -> None:
        """Go on or back by so much [s]."""
        self.go_to(self._time_s + by_s)

    def go_to(self, time_s: float) -> None:
        """Go to a time since the recording began [s]; beyond its ends, to the end."""
        self._begin_anew()
        time_s = max(time_s, self._reading.begin_s or 0.0)
        self._wanted = (lambda: self._count_at(time_s), "that time", "")
        self._look_for_wanted(time_s)

    def go_to_clock(self, of_day_s: int) -> None:
        """Go to the next moment with this time of day, from the beginning again when there is none."""
        reading = self._reading
        time_s = reading.clock.next_time_s(of_day_s, self._time_s)
        if reading.is_over and time_s > reading.timeline.head.time_s:
            time_s = reading.clock.next_time_s(of_day_s, reading.begin_s or 0.0)
        if reading.is_over and time_s > reading.timeline.head.time_s:
            self.tell("the recording holds no such time of day")
        else:
            self.go_to(time_s)

    def go_to_alert(self, step: int) -> None:
        """Pause at the next alert, or for -1 at the one before."""
        self._is_playing = False
        marks, count = self._reading.marks, self._count
        find = marks.alert_after if step > 0 else marks.alert_before
        self._seek(lambda: _place(find(count)), "the next alert", f"no alert {'after' if step > 0 else 'before'} this")

    def go_to_dose(self) -> None:
        """Pause where a dose passes its warn dose or limit next; after the last, at the first."""
        self._is_playing = False
        reading, count = self._reading, self._count

        def find() -> int | None:
            ahead = reading.marks.dose_after(count)
            return _place(reading.marks.dose_after(0) if ahead is None and reading.is_over else ahead)

        self._seek(find, "the next dose that passes a mark", "no dose passes its warn dose or its limit")

    def go_to_feed(self, number: int) -> None:
        """Pause where this input was fed last before this place."""
        self._is_playing = False
        fed = self._reading.marks.fed_before(number, self._count)
        if fed is None:
            self._begin_anew()
            self.tell(f"input {number} was not fed before this place")
        else:
            self._seek(lambda: fed.place, "the last feed", "")

    async def run(self) -> None:
        """Read and play until it is cancelled."""
        try:
            while True:
                self.move_on()
                await asyncio.sleep(REST_S if self._reading.is_over else 0.0)
        except Exception as error:
            self.notice = f"the replay failed and stands still ({clean_text(repr(error))}). Please report this"
            raise
        finally:
            self._reading.close()

    def move_on(self) -> None:
        """Read a bite, then move as far as the pace says."""
        if not self._reading.is_over:
            self._reading.go_on(BITE_S)
            self._note_damage()
        if self._wanted is not None:
            self._look_for_wanted()
        now_s = self._clock()
        passed_s, self._moved_at_s = min(now_s - self._moved_at_s, LONGEST_MOVE_S), now_s
        if self._is_playing and self._wanted is None:
            self._play(passed_s)

    def _play(self, passed_s: float) -> None:
        head_s = self._reading.timeline.head.time_s
        if self._speed == FASTEST:
            self._play_fastest()
        else:
            self._time_s = min(max(self._time_s, self._reading.begin_s or 0.0) + passed_s * self._speed, head_s)
            self._count = max(self._count, self._reading.timeline.count_at(self._time_s))
        if self._is_at_end:
            self._time_s, self._is_playing = head_s, False

    def _play_fastest(self) -> None:
        """As many samples as can be judged in a moment: what is shown is judged anew, nothing is skipped."""
        timeline, until_s = self._reading.timeline, time.perf_counter() + FASTEST_BITE_S
        while self._count < timeline.count and time.perf_counter() < until_s:
            self._count = min(timeline.count, self._count + EVENTS_AT_ONCE)
            timeline.state_at(self._count)
        self._time_s = timeline.time_at(self._count)

    def _seek(self, find: Find, what: str, otherwise: str) -> None:
        self._begin_anew()
        self._wanted = (find, what, otherwise)
        self._look_for_wanted()

    def _look_for_wanted(self, time_s: float | None = None) -> None:
        if self._wanted is None:
            return
        find, _, otherwise = self._wanted
        count = find()
        if count is None and not self._reading.is_over:
            return
        self._wanted = None
        if count is None:
            self._told = otherwise
        else:
            self._stand_at(count)
            self._time_s = self._time_s if time_s is None else min(time_s, self._reading.timeline.head.time_s)

    def _count_at(self, time_s: float) -> int | None:
        timeline = self._reading.timeline
        is_known = self._reading.is_over or timeline.head.time_s > time_s
        return timeline.count_at(time_s) if is_known else None

    def _stand_at(self, count: int) -> None:
        self._count = count
        self._time_s = self._reading.timeline.time_at(count)

    def _begin_anew(self) -> None:
        self._wanted, self._told = None, ""

    @property
    def _is_at_end(self) -> bool:
        return self._reading.is_over and self._count >= self._reading.timeline.count

    def _end_words(self) -> str:
        if not self._reading.is_over:
            return ""
        return "the recording ends here" if self._reading.is_complete else "the watch was cut off here"

    def _note_damage(self) -> None:
        recording = self._reading.recording
        told = []
        if recording.damage is not None:
            told.append(f"{recording.damage}; all before it is shown")
        if recording.skipped:
            told.append(f"lines of the recording that could not be read: {recording.skipped}")
        if self._reading.has_gaps:
            told.append("part of the watch could not be recorded then")
        self.notice = "; ".join(told)


def _place(mark: Mark | None) -> int | None:
    return None if mark is None else mark.place
