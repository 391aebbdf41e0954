"""The lesson: leads the owner through a step test, from filling the path to the result.

Owns the order of the parts, the questions, and what keeps the drive from chewing the strand. Handed events and answers
one by one, it gives the lines to show: no clock, no terminal, no machine. It only ever says what to type.
"""

from collections.abc import Generator
from typing import Final

from connectors.telemetry import Event
from monitor.bench.attempts import Attempt, Outcome, Witness
from monitor.bench.feeding import Piece, feed
from monitor.bench.heating import NeverSteadyError, heat
from monitor.bench.job import FAILED_AT_ONE_PLACE, LOST_AT_ONE_PLACE_MM, MOVE_ON_MM, Job
from monitor.bench.machine_view import STEADY_WITHIN_K, MachineView
from monitor.bench.orders import nozzle_lines
from monitor.bench.result import Result, asked_of, conclude, trials_of
from monitor.bench.slip import HotSlip, hot_slip
from monitor.bench.step_test import Done, belief, next_step
from monitor.bench.talk import Answer, Heard, Talk
from monitor.bench.verdict import attempt_text, by_owner, judged, percent

ODD_SLIP: Final = 0.15
"""A hot strand whose encoder tells of more slip than this is asked about (judgement)."""
SURE: Final = 0.97
"""A skip where the strand feeds with at least this chance is asked about: it may have another reason."""
NEARLY_ALL: Final = 0.5
"""A cold strand at its limit loses a little; one that loses so much where it fed before is stuck, or not there."""
_MOST_UNCLEAR: Final = 3
_NEW_PLACE_MM: Final = 10.0
"""Arrived so much of an attempt, the drive holds the strand at another place (judgement)."""


class BrokenOffError(Exception):
    """The test cannot go on; the message says why."""


class Lesson:
    """One test. `begin` it, then hand it every event and answer; what they return is to be shown."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self.attempts: list[Attempt] = []
        self.done: Done | None = None
        self.broken_off = ""
        """Why the test ended without its result; empty while it goes on, or is done."""
        self._view = MachineView(job.input, job.manifold, job.nozzle)
        self._talk = Talk()
        self._hot: HotSlip | None = None  # None before it is measured, and where no encoder is trusted
        self._trusts_encoder = True  # until the owner says that it is wrong
        self._failed, self._lost_mm = 0, 0.0  # at one place of the strand
        self._course = self._whole()

    @property
    def is_over(self) -> bool:
        """Whether nothing more is to be done."""
        return self.done is not None or bool(self.broken_off)

    @property
    def asks(self) -> tuple[str, ...]:
        """Answers that are waited for; empty while nothing is asked."""
        return self._talk.asks

    def result(self) -> Result:
        """What is known so far, or in the end."""
        return conclude(self.job, self.attempts, self.done)

    def begin(self) -> list[str]:
        """Begin."""
        next(self._course)
        return self._talk.taken()

    def take(self, heard: Heard) -> list[str]:
        """Go on with what was heard."""
        if self.is_over:
            return []
        if not isinstance(heard, Answer):
            self._look(heard)
        try:
            self._course.send(heard)
        except StopIteration:
            pass
        except (NeverSteadyError, BrokenOffError) as error:
            self.broken_off = str(error)
        return self._talk.taken()

    def _look(self, event: Event) -> None:
        """Take in an event; whether the machine is heard is told whatever part the lesson is in."""
        view, was_heard = self._view, self._view.is_heard
        view.take(event)
        if was_heard and not view.is_heard:
            self._talk.say(f"The link is lost: {view.why_not}. The test waits for it.")
        elif view.is_heard and not was_heard:
            self._talk.say("The machine is heard again." if view.gaps else "Data come from the machine.")

    def _whole(self) -> Generator[None, Heard, None]:
        yield from self._fill()
        unclear = 0
        while unclear < _MOST_UNCLEAR:
            step = next_step(self.job.span, trials_of(self.attempts), asked_of(self.attempts))
            if isinstance(step, Done):
                self.done = step
                return
            yield from self._spare_the_strand()
            attempt = yield from self._attempt(step.temp_c)
            self.attempts.append(attempt)
            self._count_place(attempt)
            unclear = unclear + 1 if attempt.outcome is Outcome.UNCLEAR else 0
        raise BrokenOffError(f"{_MOST_UNCLEAR} attempts in a row told nothing")

    def _fill(self) -> Generator[None, Heard, None]:
        """Fill the path hot: it measures the encoder, and the strand is known to feed at all."""
        job, talk = self.job, self._talk
        talk.head(f"Filling: input {job.input}, {job.material}, with the path hot.")
        if job.nozzle_c is not None:
            talk.say(f"Set the nozzle to {job.nozzle_c:g} °C, and leave it so:")
            talk.type_this(nozzle_lines(job, job.nozzle_c))
        piece = yield from self._feed_hot(job.fill_mm)
        if self._trusts_encoder and piece.sensed_mm is not None and piece.sensed_over_mm >= job.fill_mm / 2.0:
            self._hot = hot_slip(piece.sensed_over_mm, piece.sensed_mm, job.count_mm)
            talk.say(f"The hot strand's slip is {percent(self._hot.share)} ± {percent(self._hot.error)}.")
            return
        if self._trusts_encoder:
            yield from self._ask_of_hot_feed("No encoder tells how the strand fed.")
        if not self._view.tells_flags:
            talk.say("Nothing here tells whether a strand slips, so you will be asked.")

    def _feed_hot(self, length_mm: float) -> Generator[None, Heard, Piece]:
        """Feed where the strand must not skip. When its encoder says that it does, the owner decides who is right."""
        while True:
            hot = self._hot if self._hot is not None else HotSlip(0.0, ODD_SLIP)
            piece = yield from self._feed_at(self.job.hot_c, length_mm, hot if self._trusts_encoder else None)
            if not self._trusts_encoder or piece.sensed_mm is None or piece.sensed_over_mm <= 0.0:
                return piece
            share = 1.0 - piece.sensed_mm / piece.sensed_over_mm - hot.share
            if abs(share) <= ODD_SLIP:
                return piece
            yield from self._ask_of_hot_feed(f"By its encoder {percent(share)} of the hot strand did not arrive.")
            self._trusts_encoder, self._hot = False, None

    def _ask_of_hot_feed(self, text: str) -> Generator[None, Heard, None]:
        if (yield from self._asked(f"{text} Did it come out evenly?", "y, n", ("y", "n"))) == "n":
            raise BrokenOffError("the strand does not feed even hot; clear that first")

    def _feed_at(self, temp_c: float, length_mm: float, hot: HotSlip | None) -> Generator[None, Heard, Piece]:
        """Heat and feed, as often as it takes."""
        piece = None
        while piece is None:
            yield from heat(self.job, self._view, self._talk, temp_c)
            piece = yield from feed(self.job, self._view, self._talk, length_mm, temp_c, hot)
        return piece

    def _attempt(self, temp_c: float) -> Generator[None, Heard, Attempt]:
        number = len(self.attempts) + 1
        self._talk.head(f"Attempt {number}, at {temp_c:g} °C.")
        piece = yield from self._feed_at(temp_c, self.job.attempt_mm, self._hot)
        attempt = judged(self._view, piece, temp_c, self._hot, self.job.count_mm)
        if attempt.outcome is Outcome.UNCLEAR:
            attempt = yield from self._ask_outcome(attempt)
        elif attempt.outcome is Outcome.SKIPPED and self._is_unlikely(attempt):
            attempt = yield from self._ask_of_skip(attempt)
        self._talk.say(f"Attempt {number}: {attempt_text(attempt)}.")
        return attempt

    def _is_unlikely(self, attempt: Attempt) -> bool:
        """Whether it should have fed: it did before, no hotter, and nearly all is lost or the curve is sure."""
        limit_c = attempt.temp_c + STEADY_WITHIN_K
        fed_before = any(it.outcome is Outcome.FED and it.temp_c <= limit_c for it in self.attempts)
        if not fed_before:
            return False
        is_stuck = attempt.slip is not None and attempt.slip >= NEARLY_ALL
        return is_stuck or belief(self.job.span, trials_of(self.attempts)).chance_at(attempt.temp_c) >= SURE

    def _ask_outcome(self, attempt: Attempt) -> Generator[None, Heard, Attempt]:
        text = "Did it feed without skipping?"
        if attempt.lost_mm is not None and attempt.error_mm is not None:
            text = f"{attempt.lost_mm:.1f} ± {attempt.error_mm:.1f} mm lost does not tell. {text}"
        answer = yield from self._asked(text, "y, n, ? (cannot say)", ("y", "n", "?"))
        outcome = {"y": Outcome.FED, "n": Outcome.SKIPPED, "?": Outcome.UNCLEAR}[answer]
        return by_owner(attempt, outcome)

    def _ask_of_skip(self, attempt: Attempt) -> Generator[None, Heard, Attempt]:
        """It skipped where it fed before: cold is not the likely reason."""
        self._talk.say(f"{attempt_text(attempt)}, though the strand fed at this temperature before. Look at it.")
        choices = "s (it skips), f (it fed: the encoder is silent), o (it is out, tangled or jammed: ends the test)"
        answer = yield from self._asked("What do you see?", choices, ("s", "f", "o"))
        if answer == "o":
            raise BrokenOffError("the strand ran out, tangled or jammed")
        if answer == "s":
            return attempt
        self._trusts_encoder, self._hot = False, None
        return by_owner(attempt, Outcome.FED)

    def _asked(self, text: str, choices: str, allowed: tuple[str, ...]) -> Generator[None, Heard, str]:
        self._talk.say(f"{text} {choices}:")
        self._talk.asks = allowed
        while True:
            heard = yield
            if not isinstance(heard, Answer):
                continue
            if heard.text in allowed:
                self._talk.asks = ()
                return heard.text
            self._talk.say(f"Please answer {choices}:")

    def _count_place(self, attempt: Attempt) -> None:
        """Keep count of what the drive has done to the strand at the place where it holds it."""
        arrived_mm = (attempt.fed_mm or 0.0) - (attempt.lost_mm or 0.0) if attempt.witness is Witness.ENCODER else 0.0
        if attempt.outcome is Outcome.FED or arrived_mm >= _NEW_PLACE_MM:
            self._failed, self._lost_mm = 0, 0.0
        if attempt.outcome is not Outcome.FED:
            self._failed += 1
            self._lost_mm += max(0.0, attempt.lost_mm or 0.0)

    def _spare_the_strand(self) -> Generator[None, Heard, None]:
        """Move on to fresh strand, hot, before the drive chews the strand where it holds it."""
        if self._failed < FAILED_AT_ONE_PLACE and self._lost_mm < LOST_AT_ONE_PLACE_MM:
            return
        self._talk.head(
            f"The drive has failed {self._failed} times at one place of the strand and may chew it. Move on by"
            f" {MOVE_ON_MM:g} mm of fresh strand, hot (common practice, no source)."
        )
        yield from self._feed_hot(MOVE_ON_MM)
        self._failed, self._lost_mm = 0, 0.0
