"""What a watch without a screen prints: plain lines and JSON Lines."""

import errno
import io
import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest

import monitor
from connectors.telemetry import Event, LinkChange, Malformed, Tick
from monitor.core.alert_types import AlertState, AlertTransition, Priority, Request, RequestKind
from monitor.core.assessment import Quality, WallReading
from monitor.core.span import Span
from monitor.headless import JsonPrinter, PlainPrinter, Printer, alert_lines, status_text
from monitor.not_understood import NotUnderstood
from monitor.output import Output
from monitor.session import Session
from monitor.summary import summary_lines
from monitor.totals import Totals
from tests.watch_examples import (
    ALERT,
    ASSESSMENT,
    RAISED,
    STRAND,
    Caught,
    ListedLink,
    NotedRecorder,
    ScriptedEngine,
    ScriptedStep,
    sample,
)

SCHEMA = json.loads((Path(monitor.__file__).parent / "output.schema.json").read_text())


async def _printed(printer_of: type[JsonPrinter | PlainPrinter], every_s: float, events: list[Event]) -> Caught:
    """Output of a whole watch over `events` with an alert at 90 s and a recording that fails at 100 s."""
    caught, totals, recorder = Caught(), Totals(5.0), NotedRecorder()
    session = Session(ListedLink(events), ScriptedEngine(alerts_at={90.0: RAISED}), name="test", over="all told")
    session.record_with(recorder)
    printer: Printer = printer_of(caught.output, session, every_s)

    def fail(step: object) -> None:
        assert isinstance(step, ScriptedStep)
        if step.event.time_s >= 100.0:
            recorder.failure = "recording failed: the disk is full"

    for look in (totals.take, fail, printer.take):
        session.observe(look)
    printer.tell(["SIMULATED machine"])
    await session.run()
    printer.end(totals, session.ended or "")
    return caught


STATUS = (
    "00:00:00  status: ACTIVE 25 %, manifold 195 °C, most aged is input 4 (demo-chalk) at 19 % of its limit, "
    "warning in 2 h 01 min if nothing changes; data GOOD"
)
NIGHT: list[Event] = [
    LinkChange(0.0, available=True, reason="port opened"),
    *(sample(float(time_s)) for time_s in range(10, 190, 10)),
    Malformed(185.0, "unknown line", "?"),
    LinkChange(186.0, available=False, reason="unplugged"),
]


async def test_json_output_is_json_lines_of_the_documented_schema_and_nothing_else() -> None:
    """Each line of standard output is valid by output.schema.json; words for people go beside it."""
    caught = await _printed(JsonPrinter, 60.0, NIGHT)
    check = jsonschema.Draft202012Validator(SCHEMA)
    lines = [json.loads(line) for line in caught.lines]
    for line in lines:
        check.validate(line)
    assert [(line["kind"], line["time_s"]) for line in lines] == [
        ("assessment", 0.0),
        ("assessment", 60.0),
        ("alert", 90.0),
        ("assessment", 120.0),
        ("assessment", 180.0),
        ("end", 186.0),
    ]
    assert lines[-1]["reason"] == "all told"
    assert lines[-1]["alerts_raised"] == {"CAUTION": 0, "WARNING": 1, "ALARM": 0}
    assert lines[-1]["counts"] == {"samples": 18, "malformed": 1, "link_changes": 2}
    assert caught.messages == [
        "strandwatch: SIMULATED machine",
        "strandwatch: 00:00:00  link up: port opened",
        "strandwatch: recording failed: the disk is full",
        "strandwatch: 00:03:05  not understood: unknown line: ?",
        "strandwatch: 00:03:06  link down: unplugged",
    ]


async def test_plain_output_tells_alerts_as_they_come_and_ends_with_a_summary() -> None:
    """An alert's line has machine time, priority, what is wrong, and what to do; notices go beside."""
    caught = await _printed(PlainPrinter, 3600.0, NIGHT)
    assert caught.lines[:7] == [
        "SIMULATED machine",
        "00:00:00  link up: port opened",
        STATUS,
        "00:01:30  WARNING  raised: input 4 (demo-chalk) is ageing: 300 min at 195 °C taken",
        "                   do: Advance input 4 by 18 mm.",
        "00:03:05  not understood: unknown line: ?",
        "00:03:06  link down: unplugged",
    ]
    assert caught.lines[7] == "00:03:06  end: all told"
    assert caught.messages == ["strandwatch: recording failed: the disk is full"]


def test_each_reason_for_not_understanding_is_told_once_and_one_a_minute() -> None:
    """The count that a link adds makes no new reason; one that came too soon is told when it comes again."""
    chooser = NotUnderstood()
    told = [
        chooser.take(Malformed(time_s, reason, "T0:?"))
        for time_s, reason in (
            (0.0, "no number"),
            (30.0, "unknown sensor"),
            (61.0, "no number (and 4 more since the last report)"),
            (61.0, "unknown sensor (and 1 more since the last report)"),
            (200.0, "unknown sensor"),
        )
    ]
    assert told == [
        "00:00:00  not understood: no number: T0:?",
        "",
        "",
        "00:01:01  not understood: unknown sensor: T0:?",
        "",
    ]


def test_no_more_than_ten_reasons_are_told() -> None:
    """A machine that finds a new way to be odd each minute does not fill the log; the tenth line says so."""
    chooser = NotUnderstood()
    told = [text for n in range(30) if (text := chooser.take(Malformed(60.0 * n, f"reason {n}", "")))]
    assert len(told) == 10
    assert told[8] == "00:08:00  not understood: reason 8"
    assert told[9].endswith("reason 9 (further reasons are not told, only counted)")


def test_a_change_that_needs_no_action_is_told_in_one_line() -> None:
    """What went back to normal, or was seen by the owner, is named by its title: there is nothing to do."""
    cleared = replace(RAISED, event="cleared", alert=replace(ALERT, state=AlertState.RETURNED))
    assert alert_lines(cleared) == ["00:00:00  WARNING  cleared: input 4, aged material"]
    seen = replace(RAISED, event="acknowledged", actor="owner")
    assert alert_lines(seen) == ["00:00:00  WARNING  acknowledged by owner: input 4, aged material"]


def test_a_status_line_says_what_is_not_known() -> None:
    """Before the first report there is no state; a warning long passed has no time left; never is never printed."""
    unknown = replace(ASSESSMENT, execution=None, progress=None, walls=(), strands=())
    assert status_text(unknown) == "00:00:00  status: state unknown; data GOOD"
    passed = replace(STRAND, warn_left_s=Span(0.0, 0.0))
    assert "past its warning" in status_text(replace(ASSESSMENT, strands=(passed,)))
    never = replace(STRAND, warn_left_s=Span(float("inf"), float("inf")))
    assert "at 19 % of its limit; data" in status_text(replace(ASSESSMENT, strands=(never,)))


def test_a_status_line_marks_what_is_estimated_or_open() -> None:
    """A wall that no sensor told says so, and a dose that a gap left open is a range."""
    wall = WallReading("cold_end", 41.2, None, None, Quality.GOOD, 900.0, is_estimate=True)
    open_dose = replace(STRAND, dose_low_min=0.07 * STRAND.dose_limit_min)
    text = status_text(replace(ASSESSMENT, walls=(wall,), strands=(open_dose,)))
    assert "cold_end 41 °C (estimated)" in text
    assert "at 7 % to 19 % of its limit" in text


def test_the_summary_tells_each_strands_worst_hour_and_the_holes_in_the_data() -> None:
    """Numbers by hand: 600 s with samples every second, but for 65 s without, of which 5 s are not yet stale."""
    totals = Totals(5.0)
    times = [*range(301), *range(365, 601)]
    for time_s in times:
        dose_min = 310.0 if time_s == 420 else 90.0
        totals.take(
            ScriptedStep(sample(float(time_s)), strand=replace(STRAND, idle_s=float(time_s), dose_now_min=dose_min))
        )
    lines = list(summary_lines(totals, "all told"))
    assert lines[0] == "00:10:00  end: all told"
    assert " ".join(lines[2].split()) == "input 4 demo-chalk 120 mm 10 min 310.0 min 65% past its warning"
    assert lines[3] == "alerts: none"
    assert lines[4] == (
        "data: samples 537, not understood 0, link changes 0; without fresh data for 60 s, fresh for 90.0% of the time"
    )


def test_a_silence_at_the_end_counts_too() -> None:
    """A machine lost an hour before the end was not watched for that hour (less the 5 s that are not yet stale)."""
    totals = Totals(5.0)
    totals.take(ScriptedStep(sample(0.0)))
    totals.take(ScriptedStep(Tick(3605.0)))
    assert totals.silent_s + totals.open_silence_s() == 3600.0


def test_a_machine_that_never_spoke_has_a_summary_too() -> None:
    """No table of zeros for data that never came."""
    assert list(summary_lines(Totals(5.0), "no such port")) == [
        "00:00:00  end: no such port",
        "The machine reported nothing.",
    ]


def test_an_alert_is_counted_once_at_its_highest_priority() -> None:
    """Raised, escalated, acknowledged and cleared is one alert of priority ALARM; an acknowledgement raises none."""
    totals = Totals(5.0)
    alarm = replace(ALERT, priority=Priority.ALARM)
    changes = (
        RAISED,
        AlertTransition(1.0, "escalated", alarm, AlertState.UNACKNOWLEDGED, "engine"),
        AlertTransition(2.0, "acknowledged", replace(alarm, state=AlertState.ACKNOWLEDGED), alarm.state, "owner"),
        AlertTransition(3.0, "cleared", replace(ALERT, state=AlertState.NORMAL), AlertState.ACKNOWLEDGED, "engine"),
    )
    for change in changes:
        totals.take(ScriptedStep(Request(change.time_s, RequestKind.ACKNOWLEDGE, alarm.id, "owner"), (change,)))
    assert totals.raised == {Priority.ALARM: 1}


class FailingStream(io.StringIO):
    """A stream whose every write fails."""

    def __init__(self, number: int) -> None:
        super().__init__()
        self.number = number

    def write(self, _text: str) -> int:
        """Fail."""
        raise OSError(self.number, "as told")


@pytest.mark.parametrize("number", [errno.EPIPE, errno.EIO, errno.EBADF])
def test_a_reader_gone_is_told_apart_from_a_full_disk(number: int) -> None:
    """A closed pipe, a vanished terminal, a closed descriptor: nobody reads any more."""
    with pytest.raises(BrokenPipeError):
        Output(FailingStream(number), None).line("text")


def test_a_full_disk_under_standard_output_does_not_end_the_watch() -> None:
    """Lines are lost, it is told once, and the watch goes on."""
    err = io.StringIO()
    output = Output(FailingStream(errno.ENOSPC), err)
    output.line("one")
    output.line("two")
    assert err.getvalue() == (
        "strandwatch: standard output cannot be written: as told. Lines are lost; the watch goes on.\n"
    )


def test_a_watch_started_with_its_output_closed_goes_on_in_silence() -> None:
    """Python then has no stream at all; and a failing error stream harms nobody."""
    Output(None, None).line("text")
    Output(None, FailingStream(errno.EPIPE)).message("text")
