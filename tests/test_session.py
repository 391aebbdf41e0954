"""A session passes every event on, in order, and ends cleanly however it ends."""

import asyncio
import os
import signal
from collections.abc import Callable, Iterator

import pytest

from connectors.errors import LinkFailedError
from connectors.telemetry import LinkChange, Malformed, Tick
from monitor.client import WatchClient
from monitor.core.alert_types import RequestKind
from monitor.core.engine import Engine
from monitor.core.engine_input import EngineInput
from monitor.exit_codes import OWN_FAULT
from monitor.headless import PlainPrinter
from monitor.running import Manner, Words, carry_out, run_alone, run_beside
from monitor.session import Session
from monitor.step import Step
from monitor.totals import Totals
from tests.watch_examples import (
    PARAMETERS,
    RAISED,
    ListedLink,
    NotedRecorder,
    ScriptedEngine,
    ScriptedStep,
    sample,
)

NIGHT = (
    LinkChange(0.0, available=True, reason="opened"),
    sample(1.0),
    Tick(2.0),
    Malformed(3.0, "unknown line", "?"),
    sample(4.0),
)


@pytest.fixture(autouse=True)
def hang_up() -> Iterator[None]:
    """Put back what SIGHUP does: a watch that it ended ignores it for the rest of its process."""
    before = signal.getsignal(signal.SIGHUP)
    yield
    signal.signal(signal.SIGHUP, before)


async def _until(happened: Callable[[], bool]) -> None:
    """Let the others run until something has happened; a screen polls in the same way."""
    async with asyncio.timeout(5.0):
        while not happened():  # noqa: ASYNC110 -- a client has nothing to wait on, by design
            await asyncio.sleep(0)


async def test_every_event_is_recorded_before_it_is_judged_and_its_conclusions_after() -> None:
    """Input is on its way to the disk before anything is concluded from it, so no crash leaves only conclusions."""
    log: list[str] = []
    session = Session(ListedLink(NIGHT, log), ScriptedEngine(log, {4.0: RAISED}), name="test")
    session.record_with(NotedRecorder(log))
    await session.run()
    assert log == [
        "record LinkChange 0",
        "engine LinkChange 0",
        "conclude assessment 0",
        "record Sample 1",
        "engine Sample 1",
        "record Tick 2",
        "engine Tick 2",
        "record Malformed 3",
        "engine Malformed 3",
        "record Sample 4",
        "engine Sample 4",
        "conclude alert 4",
        "link closed",
        "recorder closed: the link ended",
    ]


async def test_an_assessment_is_recorded_every_minute_of_machine_time() -> None:
    """One summary per 60 s, on the minute, and one after a long hole."""
    log: list[str] = []
    events = [sample(float(time_s)) for time_s in [*range(0, 181, 10), 1000, 1010, 1020]]
    session = Session(ListedLink(events), ScriptedEngine(), name="test")
    session.record_with(NotedRecorder(log))
    await session.run()
    assert [line for line in log if "assessment" in line] == [
        f"conclude assessment {time_s}" for time_s in (0, 60, 120, 180, 1000, 1020)
    ]


async def test_the_newest_assessment_is_computed_only_when_read() -> None:
    """A thousand samples without anybody looking cost no assessment at all."""
    engine = ScriptedEngine()
    session = Session(ListedLink([sample(float(time_s)) for time_s in range(1000)]), engine, name="test")
    client: WatchClient = session
    await session.run()
    assert sum(step.reads for step in engine.steps) == 0
    assert client.latest is not None
    assert client.latest.time_s == 999.0


def test_before_the_first_event_nothing_is_known() -> None:
    """There is no assessment, no notice, no end and no past yet."""
    session = Session(ListedLink([]), ScriptedEngine(), name="test")
    assert (session.latest, session.notice, session.ended, session.history.span) == (None, "", None, None)


async def test_the_past_is_kept_at_its_spacing_and_only_when_asked_for() -> None:
    """One assessment in four seconds of machine time, or as seldom as asked; none where nobody keeps a history."""
    for every_s, reads in ((None, 0), (4.0, 250), (100.0, 10)):
        engine = ScriptedEngine()
        session = Session(ListedLink([sample(float(time_s)) for time_s in range(1000)]), engine, name="test")
        if every_s is not None:
            session.keep_history(every_s)
        client: WatchClient = session
        await session.run()
        assert sum(step.reads for step in engine.steps) == reads
        trend = client.history.trend("dose 4", 400.0, 900.0, 5)
        assert list(trend.known) == [reads > 0] * 5
        assert every_s is None or list(trend.last) == [90.0] * 5


async def test_a_history_that_fails_is_left_out_and_the_watch_goes_on() -> None:
    """It only looks on."""
    session = Session(ListedLink(NIGHT), ScriptedEngine(), name="test")
    session.keep_history()
    session.history.take = None  # type: ignore[assignment, method-assign]  # whatever a mistake would be
    await session.run()
    assert session.ended == "the link ended"
    assert session.fault is not None
    assert "Keeper.take" in session.fault


async def test_an_acknowledgement_is_recorded_and_judged_at_the_newest_events_time() -> None:
    """What the owner does is input like any other."""
    log: list[str] = []
    reached, go_on = asyncio.Event(), asyncio.Event()

    async def hold() -> None:
        reached.set()
        await go_on.wait()

    session = Session(ListedLink(NIGHT, hold=hold), ScriptedEngine(log, {4.0: RAISED}), name="test")
    session.record_with(NotedRecorder(log))
    running = asyncio.create_task(session.run())
    await reached.wait()
    log.clear()
    session.ask(RequestKind.ACKNOWLEDGE, "dose/input 4/1")
    assert log == ["conclude acknowledge 4", "engine Request 4", "conclude alert 4"]
    go_on.set()
    await running
    session.ask(RequestKind.ACKNOWLEDGE, "dose/input 4/1")
    assert log[-1] == "recorder closed: the link ended"


async def test_a_link_failed_for_good_ends_the_watch_and_is_told() -> None:
    """The failure is raised after link and recorder are closed, and stays readable for a screen."""
    log: list[str] = []
    session = Session(ListedLink(NIGHT, log, failure=LinkFailedError("no such port")), ScriptedEngine(), name="test")
    session.record_with(NotedRecorder(log))
    with pytest.raises(LinkFailedError, match="no such port"):
        await session.run()
    assert session.ended == "no such port"
    assert log[-2:] == ["link closed", "recorder closed: no such port"]


async def test_a_link_that_never_opened_leaves_no_recording() -> None:
    """There is nothing in it but its header, and ticks while the link was tried; whatever else came is kept."""
    for came, last in (((Tick(1.0),), "recording removed"), (NIGHT, "recorder closed: no such port")):
        log: list[str] = []
        session = Session(ListedLink(came, failure=LinkFailedError("no such port")), ScriptedEngine(), name="test")
        session.record_with(NotedRecorder(log))
        with pytest.raises(LinkFailedError):
            await session.run()
        assert log[-1] == last


@pytest.mark.parametrize(
    ("number", "reason"),
    [
        (signal.SIGTERM, "ended by SIGTERM"),
        (signal.SIGINT, "ended by the owner"),
        (signal.SIGHUP, "ended by SIGHUP: its terminal went away"),
    ],
)
async def test_a_signal_ends_the_watch_cleanly(number: signal.Signals, reason: str) -> None:
    """Link closed, recording closed, no exception; the former handler is back afterwards."""
    log: list[str] = []
    before = signal.getsignal(signal.SIGTERM)

    async def hold() -> None:
        os.kill(os.getpid(), number)
        await asyncio.Event().wait()

    session = Session(ListedLink(NIGHT, log, hold=hold), ScriptedEngine(), name="test")
    session.record_with(NotedRecorder(log))
    await asyncio.wait_for(run_alone(session), 5.0)
    assert session.ended == reason
    assert log[-2:] == ["link closed", f"recorder closed: {reason}"]
    assert signal.getsignal(signal.SIGTERM) is before


async def test_a_second_hang_up_does_not_cut_the_end_short() -> None:
    """A closing terminal may send several; by default each would kill the process (POSIX signal.h)."""
    log: list[str] = []

    async def hold() -> None:
        os.kill(os.getpid(), signal.SIGHUP)
        try:
            await asyncio.Event().wait()
        finally:
            os.kill(os.getpid(), signal.SIGHUP)  # while the link is closing

    session = Session(ListedLink(NIGHT, log, hold=hold), ScriptedEngine(), name="test")
    session.record_with(NotedRecorder(log))
    await asyncio.wait_for(run_alone(session), 5.0)
    os.kill(os.getpid(), signal.SIGHUP)  # while the summary is printed
    assert log[-2:] == ["link closed", "recorder closed: ended by SIGHUP: its terminal went away"]


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
async def test_a_second_signal_of_the_owner_acts_as_usual(number: signal.Signals) -> None:
    """Should ending take too long, the owner can force it: our handler is gone after the first."""
    before, during = signal.getsignal(number), []

    async def hold() -> None:
        os.kill(os.getpid(), number)
        try:
            await asyncio.Event().wait()
        finally:
            during.append(signal.getsignal(number))

    await asyncio.wait_for(run_alone(Session(ListedLink(NIGHT, hold=hold), ScriptedEngine(), name="test")), 5.0)
    assert during == [signal.default_int_handler if number == signal.SIGINT else signal.SIG_DFL]
    signal.signal(number, before)


async def test_a_signal_that_is_ignored_stays_ignored() -> None:
    """`nohup` starts a program with SIGHUP ignored, and then it must not end the watch (POSIX nohup)."""
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:

        async def hold() -> None:
            os.kill(os.getpid(), signal.SIGHUP)
            await asyncio.sleep(0)

        session = Session(ListedLink(NIGHT, hold=hold), ScriptedEngine(), name="test", over="all told")
        await run_alone(session)
        assert session.ended == "all told"
    finally:
        signal.signal(signal.SIGHUP, before)


async def test_a_watch_stopped_before_it_began_still_closes_its_recording() -> None:
    """A signal in the first instant leaves no file open."""
    log: list[str] = []
    session = Session(ListedLink(NIGHT, log), ScriptedEngine(log), name="test")
    session.record_with(NotedRecorder(log))
    session.stop("ended by the owner")
    await session.run()
    assert log == ["recorder closed: ended by the owner"]


async def test_cancelling_the_watch_from_outside_closes_everything_and_stays_a_cancellation() -> None:
    """A cancellation that is not ours is passed on."""
    log: list[str] = []
    reached = asyncio.Event()

    async def hold() -> None:
        reached.set()
        await asyncio.Event().wait()

    session = Session(ListedLink(NIGHT, log, hold=hold), ScriptedEngine(), name="test")
    session.record_with(NotedRecorder(log))
    running = asyncio.create_task(session.run())
    await reached.wait()
    running.cancel()
    with pytest.raises(asyncio.CancelledError):
        await running
    assert log[-2:] == ["link closed", "recorder closed: the watch was cancelled"]


async def test_the_watch_ends_with_the_screen_that_owns_it() -> None:
    """Leaving the screen of a plain watch closes link and recording."""
    log: list[str] = []
    session = Session(ListedLink(NIGHT, log, hold=asyncio.Event().wait), ScriptedEngine(), name="test")
    session.record_with(NotedRecorder(log))

    async def show(shown: Session) -> None:
        await _until(lambda: shown.latest is not None)

    await run_beside(session, show, instead=lambda: None)
    assert session.ended == "ended by the owner"
    assert log[-2:] == ["link closed", "recorder closed: ended by the owner"]


async def test_a_screen_stays_when_the_watch_ends_first() -> None:
    """The owner can still read what happened; the failure is told after the screen."""
    seen: list[str | None] = []

    async def show(shown: Session) -> None:
        await _until(lambda: shown.ended is not None)
        seen.append(shown.ended)

    session = Session(ListedLink(NIGHT, failure=LinkFailedError("unplugged")), ScriptedEngine(), name="test")
    with pytest.raises(LinkFailedError):
        await run_beside(session, show, instead=lambda: None)
    assert seen == ["unplugged"]


async def test_a_watch_goes_on_without_a_screen_that_failed() -> None:
    """The fault is told and recorded, something else shows the watch, and a signal still ends it."""
    log: list[str] = []

    async def hold() -> None:
        os.kill(os.getpid(), signal.SIGTERM)
        await asyncio.Event().wait()

    go_on = asyncio.Event()

    async def wait_then_hold() -> None:
        await go_on.wait()
        await hold()

    session = Session(ListedLink(NIGHT, log, hold=wait_then_hold), ScriptedEngine(), name="test")
    session.record_with(NotedRecorder(log))

    async def show(shown: Session) -> None:
        await _until(lambda: shown.latest is not None and shown.time_s == 4.0)
        raise ZeroDivisionError("a picture of nothing")

    await asyncio.wait_for(run_beside(session, show, instead=go_on.set), 5.0)
    assert session.fault is not None
    assert "the screen failed" in session.fault
    assert "a picture of nothing" in session.notice
    assert log[-3:] == ["conclude fault 4", "link closed", "recorder closed: ended by SIGTERM"]


async def test_an_onlooker_that_fails_is_left_out_and_the_watch_goes_on() -> None:
    """It is told and recorded once; the engine, the recorder and the other onlookers see every event."""
    log: list[str] = []
    seen: list[float] = []
    session = Session(ListedLink(NIGHT, log), ScriptedEngine(log), name="test")
    session.record_with(NotedRecorder(log))

    def fails(step: Step) -> None:
        raise ZeroDivisionError(f"at {step.event.time_s:g}")

    session.observe(fails)
    session.observe(lambda step: seen.append(step.event.time_s))
    await session.run()
    assert seen == [0.0, 1.0, 2.0, 3.0, 4.0]
    assert [line for line in log if "fault" in line] == ["conclude fault 0"]
    assert log[-3:] == ["engine Sample 4", "link closed", "recorder closed: the link ended"]
    assert session.ended == "the link ended"
    assert "ZeroDivisionError('at 0')" in session.notice


def test_a_printer_that_fails_is_told_beside_the_output_and_by_the_status(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The owner reads at once that no more lines come; the summary follows, and the status says whose fault it was."""

    def fails(_printer: PlainPrinter, step: Step) -> None:
        raise ZeroDivisionError(f"at {step.event.time_s:g}")

    monkeypatch.setattr(PlainPrinter, "take", fails)
    log: list[str] = []
    session = Session(ListedLink(NIGHT), ScriptedEngine(log), name="test")
    assert carry_out(session, Manner(on_screen=False), Totals(5.0), Words()) == OWN_FAULT
    printed = capsys.readouterr()
    assert printed.err.count("printing failed, so nothing more is printed until the end") == 1
    assert "end: the link ended" in printed.out
    assert log[-1] == "engine Sample 4"


async def test_an_engine_that_fails_still_ends_the_watch() -> None:
    """Without judgement there is no watch: only what looks on may fail."""

    class BrokenEngine(ScriptedEngine):
        def advance(self, event: EngineInput) -> ScriptedStep:
            raise ZeroDivisionError(event.time_s)

    session = Session(ListedLink(NIGHT), BrokenEngine(), name="test")
    with pytest.raises(ZeroDivisionError):
        await session.run()
    assert session.ended == "strandwatch itself failed"


async def test_a_reader_gone_ends_the_watch_with_its_conclusions_recorded() -> None:
    """The step whose line could not be printed is recorded in full first."""
    log: list[str] = []
    session = Session(ListedLink(NIGHT, log), ScriptedEngine(log, {4.0: RAISED}), name="test")
    session.record_with(NotedRecorder(log))

    def look(step: Step) -> None:
        if step.transitions:
            raise BrokenPipeError

    session.observe(look)
    with pytest.raises(BrokenPipeError):
        await session.run()
    assert log[-3:] == ["conclude alert 4", "link closed", "recorder closed: the output went away"]


async def test_the_owner_is_told_of_a_failed_recording_and_of_sensors_never_reported() -> None:
    """Both stand in one notice; a sensor that comes late is taken back."""
    notices: list[str] = []
    recorder = NotedRecorder()
    events = [*(sample(time_s, manifold=195.0, nozzle=225.0) for time_s in (1.0, 30.0, 31.0)), sample(32.0)]
    session = Session(ListedLink(events), ScriptedEngine(), name="test", sensors=PARAMETERS.sensors)
    session.record_with(recorder)
    session.observe(lambda _: notices.append(session.notice))
    recorder.failure = "recording failed: the disk is full"
    await session.run()
    assert notices[1] == "recording failed: the disk is full"
    assert (
        "the profile names sensor 'cold_end', but the machine never reported it; it reports 'manifold', 'nozzle'"
        in notices[2]
    )
    assert notices[2].startswith("recording failed: the disk is full; ")
    assert notices[3] == "recording failed: the disk is full"


async def test_the_real_engine_is_driven_as_it_is() -> None:
    """The session and the engine fit: a night of an hour gives an assessment with the strand in it."""
    session = Session(
        ListedLink([sample(float(time_s)) for time_s in range(0, 3600, 10)]), Engine(PARAMETERS), name="test"
    )
    await session.run()
    assert session.latest is not None
    assert session.latest.strands[0].dose_now_min > 10.0
