"""The part of the lesson in which the strand is fed, and what was seen of it.

Owns when a feed has begun, when it is over, and the call to stop. Does not judge whether it fed.
"""

from collections.abc import Generator
from dataclasses import dataclass
from typing import Final

from monitor.bench.job import STOP_MM, Job
from monitor.bench.machine_view import MachineView
from monitor.bench.orders import move_lines
from monitor.bench.slip import HotSlip, Lost, lost
from monitor.bench.talk import Answer, Heard, Talk

BEGUN_MM: Final = 0.5
OVER_S: Final = 5.0
"""A strand that has stood so long has been fed; an encoder is seldom later than that."""
ENCODER_LATE_S: Final = 1.0
"""So much later than the feed its encoder may be told (judgement): an error only while the strand moves."""
ENOUGH: Final = 0.9
"""Share of the length asked for that will do."""
SHORT_S: Final = 30.0
LATE_S: Final = 600.0
OFF_K: Final = 4.0
"""So far off, the manifold does not stand where the attempt is to be made."""
_TOLD_TIMES: Final = 4


@dataclass(frozen=True, slots=True)
class Piece:
    """One feed as it was seen; `fed_mm` is None where the machine does not tell its feed.

    `sensed_mm` is what the encoder saw over `sensed_over_mm` of it: of a first feed it may miss the beginning, because
    some encoders say nothing before they move.
    """

    fed_mm: float | None
    sensed_mm: float | None
    sensed_over_mm: float
    flags: int
    temp_c: float
    speed_mm_s: float | None


def feed(
    job: Job, view: MachineView, talk: Talk, length_mm: float, asked_c: float, hot: HotSlip | None
) -> Generator[None, Heard, Piece | None]:
    """Have the strand fed, and follow it; None when it has to be done again.

    `hot` is the slip of the hot strand, where an encoder is trusted to tell what is lost.
    """
    talk.say(f"Feed {length_mm:g} mm:")
    talk.type_this(move_lines(job, length_mm))
    if view.fed_mm is None:
        return (yield from _fed_unseen(view, talk, asked_c))
    watch = _Watch(view, hot, job)
    gaps, told_s = view.gaps, view.time_s
    while not watch.is_over(length_mm):
        yield
        watch.look()
        if view.gaps != gaps:
            talk.say(f"Data were lost ({view.why_not}): this feed is not counted.")
            yield from _until_heard(view)
            return None
        if not watch.has_begun and abs((view.manifold_c or asked_c) - asked_c) > OFF_K:
            talk.say(f"The manifold has left {asked_c:g} °C (it is at {view.manifold_c:.1f} °C).")
            return None
        if not watch.has_begun and view.time_s - told_s > LATE_S:
            told_s = view.time_s
            talk.say(f"Input {job.input} has not fed yet. Is another input selected?")
        watch.tell(talk, length_mm)
    return watch.piece(asked_c)


def _until_heard(view: MachineView) -> Generator[None, Heard, None]:
    while not view.is_heard:
        yield


def _fed_unseen(view: MachineView, talk: Talk, asked_c: float) -> Generator[None, Heard, Piece]:
    """The machine does not tell its feed: the owner says when it is done."""
    talk.say("The machine does not tell its feed. When it has moved, press Enter.")
    talk.asks = ("",)
    while not isinstance((yield), Answer):
        pass
    talk.asks = ()
    return Piece(None, None, 0.0, 0, asked_c if view.manifold_c is None else view.manifold_c, None)


class _Watch:
    """Follows one feed."""

    def __init__(self, view: MachineView, hot: HotSlip | None, job: Job) -> None:
        self._view, self._hot, self._count_mm, self._speed_mm_s = view, hot, job.count_mm, job.speed_mm_s
        self._from_mm, self._sensed_from_mm, self._flags = view.fed_mm or 0.0, view.sensed_mm, view.flags
        self._unsensed_mm = 0.0  # fed before the encoder first spoke
        self._highest_mm = 0.0
        self._begun_s: float | None = None
        self._moved_s = self._before_s = view.time_s
        self._moves: list[tuple[float, float]] = []  # of each reading that moved: length, temperature
        self._told_mm, self._is_stopped, self._is_short = 0.0, False, False

    @property
    def has_begun(self) -> bool:
        return self._begun_s is not None

    def look(self) -> None:
        """Take in what the view says now."""
        view = self._view
        fed_mm = (view.fed_mm or 0.0) - self._from_mm
        step_mm = fed_mm - self._highest_mm
        if self._sensed_from_mm is None:
            self._sensed_from_mm, self._unsensed_mm = view.sensed_mm, max(fed_mm, self._highest_mm)
        if step_mm > 0.0:
            self._highest_mm, self._moved_s = fed_mm, view.time_s
            if view.manifold_c is not None:
                self._moves.append((step_mm, view.manifold_c))
            if self._begun_s is None and fed_mm >= BEGUN_MM:
                self._begun_s = self._before_s
        elif self._begun_s is None:
            self._before_s = view.time_s

    def is_over(self, length_mm: float) -> bool:
        """Whether it was fed and stands."""
        stood_s = self._view.heard_s - self._moved_s  # silence is no sign of standing
        is_long = self._highest_mm >= ENOUGH * length_mm or self._is_stopped
        return self.has_begun and is_long and stood_s >= OVER_S

    def tell(self, talk: Talk, length_mm: float) -> None:
        """Say how it goes, and call to stop before the drive chews the strand."""
        if not self.has_begun:
            return
        missing = self._missing()
        if missing is not None and missing.lost_mm - missing.error_mm > STOP_MM and not self._is_stopped:
            self._is_stopped = True
            talk.say(f"*** STOP FEEDING: {missing.lost_mm:.1f} mm did not arrive. The drive may chew the strand. ***")
        elif not self._is_stopped and self._highest_mm - self._told_mm >= length_mm / _TOLD_TIMES:
            self._told_mm = self._highest_mm
            talk.say(f"{self._highest_mm:.0f} of {length_mm:g} mm fed{_lost_text(self._highest_mm, missing)}", "    ")
        if not self._is_short and not self.is_over(length_mm) and self._view.heard_s - self._moved_s > SHORT_S:
            self._is_short = True
            left_mm = length_mm - self._highest_mm
            talk.say(f"Only {self._highest_mm:.1f} of {length_mm:g} mm were fed: feed the other {left_mm:.1f} mm too.")

    def piece(self, asked_c: float) -> Piece:
        """What was seen."""
        view, moved_mm = self._view, sum(step for step, _ in self._moves)
        temp_c = sum(step * temp for step, temp in self._moves) / moved_mm if moved_mm > 0.0 else asked_c
        took_s = self._moved_s - (self._before_s if self._begun_s is None else self._begun_s)
        speed = self._highest_mm / took_s if took_s > 0.0 else None
        sensed_over_mm = self._highest_mm - self._unsensed_mm
        return Piece(self._highest_mm, self._sensed_mm(), sensed_over_mm, view.flags - self._flags, temp_c, speed)

    def _sensed_mm(self) -> float | None:
        if self._view.sensed_mm is None or self._sensed_from_mm is None:
            return None
        return self._view.sensed_mm - self._sensed_from_mm

    def _missing(self) -> Lost | None:
        """What is missing while the strand moves: an encoder that is told later than the feed hides some of it."""
        sensed_mm = self._sensed_mm()
        over_mm = self._highest_mm - self._unsensed_mm
        if self._hot is None or sensed_mm is None or over_mm <= 0.0:
            return None
        now = lost(over_mm, sensed_mm, self._hot, self._count_mm)
        return now._replace(error_mm=now.error_mm + ENCODER_LATE_S * self._speed_mm_s)


def _lost_text(fed_mm: float, missing: Lost | None) -> str:
    if missing is None:
        return ""
    share, error = (100.0 * part / fed_mm for part in missing)
    return f", {missing.lost_mm:.1f} ± {missing.error_mm:.1f} mm lost ({share:.0f} ± {error:.0f} %)"
