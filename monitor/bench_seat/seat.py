"""Sits between a watch and the lesson: hands it the watch's events and the owner's answers, shows what it says.

Owns who is asked when, what is recorded, and when the watch ends for the test. Knows no files and no machine.
"""

from typing import Final

from connectors.telemetry import LinkChange, Malformed, Sample, Tick
from monitor.bench.lesson import Lesson
from monitor.bench.talk import Answer
from monitor.bench_seat.answers import Answers
from monitor.bench_seat.log import attempt_data
from monitor.core.alert_types import AlertTransition
from monitor.output import Output
from monitor.session import Session
from monitor.step import Step

TEST_OVER: Final = "the test is over"
NOBODY_ANSWERS: Final = "the standard input has ended, and a question waits for its answer"
_TOLD: Final = frozenset({"ceiling", "liner", "softening", "heater_high", "heater_low", "cooling", "sensor"})
"""Alerts that are told on the bench. Cold feed and stalls are what the test is about; the rest can wait."""


class Seat:
    """An onlooker of a session that leads a lesson."""

    def __init__(self, session: Session, lesson: Lesson, answers: Answers, output: Output) -> None:
        self._session, self._lesson, self._answers, self._output = session, lesson, answers, output
        self._recorded = 0

    def begin(self) -> None:
        """Say the first lines."""
        self._show(self._lesson.begin())

    def take(self, step: Step) -> None:
        """Look at a step of the watch. What fails of the lesson ends the watch: there is nothing else to wait for."""
        try:
            for transition in step.transitions:
                self._tell_alert(transition)
            if isinstance(step.event, Sample | Tick | LinkChange | Malformed):
                self._show(self._lesson.take(step.event))
            self.answer()
        except Exception:
            self._session.stop("the test itself failed")
            raise

    def answer(self) -> None:
        """Hand on what the owner has typed, if that is asked for."""
        if not self._lesson.asks:
            if self._answers.is_terminal:
                self._answers.drop()
            return
        while self._lesson.asks and (text := self._answers.pop()) is not None:
            self._show(self._lesson.take(Answer(text)))
        if self._lesson.asks and self._answers.has_ended:
            self._session.stop(NOBODY_ANSWERS)

    def _show(self, lines: list[str]) -> None:
        for line in lines:
            self._output.line(line)
        for attempt in self._lesson.attempts[self._recorded :]:
            told = attempt_data(attempt)
            del told["time_s"]  # every line of a recording has its own
            self._session.record_note("bench_attempt", told)
        self._recorded = len(self._lesson.attempts)
        if self._lesson.is_over:
            self._session.stop(self._lesson.broken_off or TEST_OVER)

    def _tell_alert(self, transition: AlertTransition) -> None:
        alert = transition.alert
        if transition.calls and alert.condition in _TOLD:
            self._output.line(f"*** {alert.priority.name} {alert.subject}: {alert.text} {alert.action}")
