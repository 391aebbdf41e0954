"""A watch without a screen: plain lines for people and logs, JSON Lines for programs.

Printers look on at a session's steps. They own the wording of the lines, and nothing of where the lines go.
"""

from collections.abc import Iterable
from math import isinf
from typing import Protocol

from connectors.telemetry import LinkChange, Malformed
from monitor.client import WatchClient
from monitor.clock_text import clock_text, span_text
from monitor.core.alert_table import ALERT_TABLE
from monitor.core.alert_types import AlertTransition
from monitor.core.assessment import Assessment, StrandAssessment, WallReading
from monitor.core.percent_words import percent
from monitor.every import Every
from monitor.not_understood import NotUnderstood
from monitor.output import Output
from monitor.plain_data import assessment_data, end_data, output_line, transition_data
from monitor.step import Step
from monitor.summary import summary_lines
from monitor.totals import Totals


class Printer(Protocol):
    """Prints a watch as it goes."""

    def tell(self, texts: Iterable[str]) -> None:
        """Print words about the watch as a whole."""
        ...

    def take(self, step: Step) -> None:
        """Print what is new in a step."""
        ...

    def end(self, totals: Totals, reason: str) -> None:
        """Print the last words."""
        ...


class NoticePrinter:
    """Passes on, as a message, what a watch has to say about itself, each time it changes."""

    def __init__(self, output: Output, client: WatchClient) -> None:
        self._output, self._client = output, client
        self._told = ""

    def take(self) -> None:
        """Look whether there is something new."""
        notice = self._client.notice
        if notice != self._told:
            self._told = notice
            if notice:
                self._output.message(notice)


class IncomingText:
    """Puts into words what came in, where the owner should read it: changes of the link, reports not understood."""

    def __init__(self) -> None:
        self._not_understood = NotUnderstood()

    def of(self, event: object) -> str:
        """Give the line for an event; empty when there is none."""
        if isinstance(event, LinkChange):
            return link_text(event)
        return self._not_understood.take(event) if isinstance(event, Malformed) else ""


class PlainPrinter:
    """Alerts and changes of the link as they come, a status line now and then if wished, a summary at the end.

    Parameters
    ----------
    output : Output
    client : WatchClient
        The session; its notices are passed on.
    every_s : float or None
        Machine time between status lines [s]; None for none.
    """

    def __init__(self, output: Output, client: WatchClient, every_s: float | None) -> None:
        self._output = output
        self._notices = NoticePrinter(output, client)
        self._incoming = IncomingText()
        self._due = None if every_s is None else Every(every_s)

    def tell(self, texts: Iterable[str]) -> None:
        """Print words about the watch as a whole."""
        for text in texts:
            self._output.line(text)

    def take(self, step: Step) -> None:
        """Print what is new in a step."""
        text = self._incoming.of(step.event)
        if text:
            self._output.line(text)
        for transition in step.transitions:
            if not transition.alert.folded_under and not transition.is_by_design:  # else told by what has the cause
                for line in alert_lines(transition):
                    self._output.line(line)
        if self._due is not None and self._due(step.event.time_s):
            self._output.line(status_text(step.assessment))
        self._notices.take()

    def end(self, totals: Totals, reason: str) -> None:
        """Print the summary."""
        self._notices.take()
        for text in summary_lines(totals, reason):
            self._output.line(text)


class JsonPrinter:
    """JSON Lines as `output.schema.json` documents them; everything else goes beside them, as messages.

    Parameters
    ----------
    output : Output
    client : WatchClient
        The session; its notices are passed on.
    every_s : float
        Machine time between assessments [s].
    """

    def __init__(self, output: Output, client: WatchClient, every_s: float) -> None:
        self._output = output
        self._notices = NoticePrinter(output, client)
        self._incoming = IncomingText()
        self._due = Every(every_s)

    def tell(self, texts: Iterable[str]) -> None:
        """Say words about the watch as a whole beside the output."""
        for text in texts:
            self._output.message(text)

    def take(self, step: Step) -> None:
        """Print what is new in a step."""
        text = self._incoming.of(step.event)
        if text:
            self._output.message(text)
        for transition in step.transitions:
            self._output.line(output_line("alert", transition.time_s, transition_data(transition)))
        if self._due(step.event.time_s):
            self._output.line(output_line("assessment", step.assessment.time_s, assessment_data(step.assessment)))
        self._notices.take()

    def end(self, totals: Totals, reason: str) -> None:
        """Print the last line."""
        self._notices.take()
        self._output.line(output_line("end", totals.end_s, end_data(reason, totals.raised, totals.events)))


def alert_lines(transition: AlertTransition) -> list[str]:
    """Tell a change of an alert: with what to do while it calls for something, by its title otherwise."""
    alert = transition.alert
    why = alert.story[-1].why if alert.story else ""
    head = f"{clock_text(transition.time_s)}  {alert.priority.name:<7}  {transition.event}{why and f' ({why})'}"
    if transition.calls:
        return [f"{head}: {alert.text}", f"{'':19}do: {alert.action}"]
    title = ALERT_TABLE[alert.condition].title if alert.condition in ALERT_TABLE else alert.condition
    who = "" if transition.actor == "engine" else f" by {transition.actor}"
    return [f"{head}{who}: {alert.subject}, {title}"]


def link_text(change: LinkChange) -> str:
    """Tell a change of the link."""
    word = "up" if change.available else "down"
    return f"{clock_text(change.time_s)}  link {word}: {change.reason}"


def status_text(assessment: Assessment) -> str:
    """Tell in one line how things stand."""
    parts = [assessment.execution or "state unknown"]
    if assessment.progress is not None:
        parts[0] += f" {percent(assessment.progress)}"
    parts += [_wall_text(wall) for wall in assessment.walls if wall.temp_c is not None]
    if assessment.strands:
        parts.append(_most_aged_text(max(assessment.strands, key=lambda strand: strand.dose_share)))
    return f"{clock_text(assessment.time_s)}  status: {', '.join(parts)}; data {assessment.quality}"


def _wall_text(wall: WallReading) -> str:
    estimated = " (estimated)" if wall.is_estimate else ""
    return f"{wall.sensor} {wall.temp_c:.0f} °C{estimated}"


def _most_aged_text(strand: StrandAssessment) -> str:
    borrowed = f", part {strand.stand_in}" if strand.stand_in else ""
    gap = "" if strand.dose_low_min is None else f"{percent(strand.dose_low_min / strand.dose_limit_min)} to "
    share = (
        f"most aged is input {strand.input} ({strand.material}{borrowed}) at {gap}{percent(strand.dose_share)}"
        " of its limit"
    )
    left_s = strand.warn_left_s.low
    if left_s <= 0:
        return f"{share}, past its warning"
    return share if isinf(left_s) else f"{share}, warning in {span_text(left_s)} if nothing changes"
