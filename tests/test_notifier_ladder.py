"""A watch tells an ALARM again until somebody has seen it, and what became of each message. On simulated time."""

import asyncio
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from connectors.errors import LinkFailedError
from connectors.recording import Conclusion, Recording
from connectors.telemetry import Event, Execution, Tick
from monitor.core.alert_types import Alert, AlertState, AlertTransition, Priority
from monitor.core.assessment import Assessment, Quality, WallReading
from monitor.notify.attempt import TIMEOUT_S
from monitor.notify.check_in import CheckIn
from monitor.notify.notifier import Notifier
from monitor.notify.plan import NotifyPlan, ladder_text
from monitor.notify.queue import FIRST_PAUSE_S
from monitor.recording.recorder import Recorder
from monitor.session import Session
from monitor.stopping import BY_OWNER
from tests.notify_examples import NOW, Postman, SimulatedTime, until
from tests.recording_examples import HEADER, validator
from tests.watch_examples import ALERT, ASSESSMENT, ListedLink, NotedRecorder, ScriptedEngine, sample

ALARM = replace(ALERT, priority=Priority.ALARM)


@dataclass
class NightStep:
    """A step of a night; counts how often somebody wants all that is known."""

    event: Event
    night: "Night"
    transitions: tuple[AlertTransition, ...] = ()

    @property
    def assessment(self) -> Assessment:
        """What stands now."""
        self.night.looks += 1
        return replace(ASSESSMENT, time_s=self.event.time_s, alerts=tuple(self.night.alerts.values()))


@dataclass
class Night:
    """A notifier with three channels, told a second at a time; `told` has what each was sent: minute and title."""

    after_min: Mapping[str, float] = field(default_factory=lambda: {"telephone": 0.0, "second": 2.0, "backup": 5.0})
    alerts: dict[str, Alert] = field(default_factory=dict)
    records: list[Mapping[str, Any]] = field(default_factory=list)
    looks: int = 0
    now_s: float = 0.0

    def __post_init__(self) -> None:
        self.time = SimulatedTime()
        self.postmen = {name: Postman() for name in self.after_min}
        channels = tuple(
            replace(self.postmen[name].channel(name), after_s=minutes * 60.0)
            for name, minutes in self.after_min.items()
        )
        self.notifier = Notifier(
            NotifyPlan(channels), "bench", record=self.records.append, wait=self.time.wait, wall=self.time.wall
        )

    def happens(self, event: str, alert: Alert) -> None:
        """Something happens to an alert."""
        before = self.alerts.get(alert.id)
        self.alerts[alert.id] = alert
        previous = AlertState.NORMAL if before is None else before.state
        change = AlertTransition(self.now_s, event, alert, previous, "engine")
        self.notifier.take(NightStep(sample(self.now_s), self, (change,)))

    def passes(self, minutes: float) -> None:
        """Let time pass, with a tick every second."""
        for _ in range(round(minutes * 60)):
            self.now_s += 1.0
            self.notifier.take(NightStep(Tick(self.now_s), self))

    async def lives(self, minutes: int) -> None:
        """Let time pass, each minute's messages being sent in it."""
        for _ in range(minutes):
            self.passes(1.0)
            await self.sent()

    async def sent(self) -> dict[str, list[str]]:
        """Titles that each channel was sent, once all is sent."""
        await until(lambda: not any(queue._waiting for queue in self.notifier._queues))
        return {name: [letter.title for letter in postman.letters] for name, postman in self.postmen.items()}


TITLE = "ALARM: input 4, aged material{} (bench)"
AGAIN = [TITLE.format(f", told again ({repeat})") for repeat in (1, 2, 3)]


async def test_an_alarm_that_nobody_sees_climbs_from_channel_to_channel_and_is_repeated() -> None:
    """At once, after 2 and after 5 minutes; then all every 15 minutes. The body says which repeat, and since when."""
    night = Night()
    night.happens("raised", ALARM)
    await night.lives(51)
    assert await night.sent() == {
        "telephone": [TITLE.format(""), *AGAIN],
        "second": [TITLE.format(", not acknowledged"), *AGAIN],
        "backup": [TITLE.format(", not acknowledged"), *AGAIN],
    }
    assert night.postmen["telephone"].letters[-1].body.splitlines() == [
        "input 4 (demo-chalk) is ageing: 300 min at 195 °C taken",
        "do: Advance input 4 by 18 mm.",
        "since 02:35 on 2026-11-27, for 50 min",
        "Repeat 3: nobody has acknowledged it yet.",
    ]
    await night.notifier.close()


async def test_what_is_known_is_reckoned_only_when_somebody_is_due() -> None:
    """50 minutes of ticks cost six looks: the first step, two rungs, three repeats; without an alert only the first."""
    night, quiet = Night(), Night()
    night.happens("raised", ALARM)
    night.passes(51.0)
    quiet.passes(51.0)
    assert (night.looks, quiet.looks) == (6, 1)
    await night.sent()
    await night.notifier.close()


async def _after(change: Callable[[Night], None], minutes: float = 60.0) -> dict[str, list[str]]:
    """What is sent when something happens to an ALARM after one minute."""
    night = Night()
    night.happens("raised", ALARM)
    night.passes(1.0)
    await night.sent()
    change(night)
    night.passes(minutes)
    sent = await night.sent()
    await night.notifier.close()
    return sent


async def test_an_alarm_that_is_seen_or_held_back_or_over_wakes_nobody_else() -> None:
    """Acknowledged, shelved, suppressed, out of service, cleared, latched: the first was told, and that is all."""
    for event, state in {
        "acknowledged": AlertState.ACKNOWLEDGED,
        "shelved": AlertState.SHELVED,
        "suppressed": AlertState.SUPPRESSED,
        "out of service": AlertState.OUT_OF_SERVICE,
        "cleared": AlertState.RETURNED,
        "latched": AlertState.LATCHED,
    }.items():
        changed = replace(ALARM, state=state)
        sent = await _after(lambda night, event=event, changed=changed: night.happens(event, changed))  # type: ignore[misc]  # its type is inferred
        assert sent == {"telephone": [TITLE.format("")], "second": [], "backup": []}, event


async def test_an_alarm_that_calls_again_begins_with_the_first_channel() -> None:
    """Back after a shelving, or because it has gone on for too long since it was seen."""
    for event in ("unshelved", "re-alarmed", "in service", "re-raised"):

        def again(night: Night, event: str = event) -> None:
            night.happens("acknowledged", replace(ALARM, state=AlertState.ACKNOWLEDGED))
            night.happens(event, ALARM)

        sent = await _after(again, 3.0)
        told = TITLE.format(f", {event}")
        assert sent == {
            "telephone": [TITLE.format(""), told],
            "second": [TITLE.format(", not acknowledged")],
            "backup": [],
        }


async def test_one_cause_has_one_ladder() -> None:
    """An ALARM that comes to be folded under another one is not told any more; the other one is."""

    def folded(night: Night) -> None:
        night.alerts[ALARM.id] = replace(ALARM, folded_under="cooling/1")
        night.happens("raised", replace(ALARM, id="cooling/1", condition="cooling", subject="cold end"))

    sent = await _after(folded, 10.0)
    assert len(sent["telephone"]) == 2
    assert len(sent["second"]) == len(sent["backup"]) == 1
    assert all("cold end" in title for title in (sent["telephone"][1], *sent["second"], *sent["backup"]))


async def test_the_ladder_goes_over_to_the_alert_that_goes_on() -> None:
    """The one that told the cause ends; the one that was folded under it takes its place, from the first channel on."""

    def goes_on(night: Night) -> None:
        night.happens("cleared", replace(ALARM, state=AlertState.RETURNED))
        night.happens("goes on", replace(ALARM, id="softening/1", condition="softening"))

    sent = await _after(goes_on, 3.0)
    assert [title.partition(", ")[2] for title in sent["telephone"][1:] + sent["second"]] == [
        "soft where it must be stiff, goes on (bench)",
        "soft where it must be stiff, not acknowledged (bench)",
    ]


async def test_a_warning_is_told_to_each_channel_once() -> None:
    """It climbs while nobody has seen it, and is not repeated; the engine makes an ALARM of it in time."""
    night = Night()
    night.happens("raised", ALERT)
    night.passes(120.0)
    assert {name: len(titles) for name, titles in (await night.sent()).items()} == {
        "telephone": 1,
        "second": 1,
        "backup": 1,
    }
    night.happens("escalated", ALARM)
    night.passes(1.0)
    assert (await night.sent())["telephone"][-1] == TITLE.format(", escalated")
    await night.notifier.close()


async def test_an_alarm_that_eases_to_a_warning_is_not_repeated() -> None:
    """Good news wakes nobody, and a WARNING is no reason to."""
    sent = await _after(lambda night: night.happens("eased", ALERT))
    assert len(sent["telephone"]) == 1
    assert [title.partition(":")[0] for title in sent["second"] + sent["backup"]] == ["WARNING", "WARNING"]


async def test_a_seen_alert_that_says_another_thing_is_told_once() -> None:
    """The pattern of a stall has settled: what to do is new, but it is seen, so nothing climbs."""

    def settles(night: Night) -> None:
        night.happens("acknowledged", replace(ALARM, state=AlertState.ACKNOWLEDGED))
        night.happens("settled", replace(ALARM, state=AlertState.ACKNOWLEDGED))

    sent = await _after(settles)
    assert sent == {"telephone": [TITLE.format(""), TITLE.format(", settled")], "second": [], "backup": []}


async def test_what_stood_when_the_watch_was_started_anew_is_told_anew() -> None:
    """The message may have been lost with the watch that ended: better twice than never. A seen one is left alone."""
    night = Night()
    night.alerts = {"a": replace(ALARM, id="a"), "b": replace(ALARM, id="b", state=AlertState.ACKNOWLEDGED)}
    night.passes(3.0)
    sent = await night.sent()
    assert sent["telephone"] == [TITLE.format(", still there after a new start of the watch")]
    assert sent["second"] == [TITLE.format(", not acknowledged")]
    await night.notifier.close()


async def test_a_channel_that_works_again_after_hours_tells_an_alarm_once() -> None:
    """A repeat takes the place of what waits. What was seen meanwhile is not sent any more, and that is noted."""
    night = Night({"telephone": 0.0})
    postman = night.postmen["telephone"]
    postman.refusal = "refused with status 503"
    night.happens("raised", ALARM)
    await until(lambda: night.time.waits == [FIRST_PAUSE_S])
    night.passes(180.0)
    assert len(night.notifier._queues[0]._waiting) == 1
    postman.refusal = None
    night.time.forward(FIRST_PAUSE_S)
    sent = await night.sent()
    assert sent["telephone"] == [TITLE.format(""), TITLE.format(", told again (12)")]
    assert "late" not in postman.letters[-1].body  # it is not: its time is now
    postman.refusal = "refused with status 503"
    night.happens("settled", ALARM)
    await until(lambda: night.time.waits == [FIRST_PAUSE_S])
    night.happens("acknowledged", replace(ALARM, state=AlertState.ACKNOWLEDGED))
    await night.notifier.close()
    assert [record["outcome"] for record in night.records] == [
        "failed: refused with status 503",
        "accepted",
        "failed: refused with status 503",
        "withdrawn: acknowledged meanwhile",
    ]
    assert [record["repeat"] for record in night.records] == [0, 12, 0, 0]


async def test_a_reason_to_fail_is_noted_once() -> None:
    """A service that refuses all night is one line of the record until something changes."""
    night = Night({"telephone": 0.0})
    postman = night.postmen["telephone"]
    postman.refusal = "refused with status 503"
    night.happens("raised", ALARM)
    for attempts in (1, 2, 3):
        await until(lambda wanted=attempts: len(postman.letters) == wanted and _is_pausing(night.time))  # type: ignore[misc]  # its type is inferred
        if attempts == 2:
            postman.refusal = "refused with status 401"
        night.time.forward(night.time.waits[0])
    await night.notifier.close()
    assert [record["outcome"] for record in night.records] == [
        "failed: refused with status 503",
        "failed: refused with status 401",
        "lost: the watch ended",
    ]


def _is_pausing(time: SimulatedTime) -> bool:
    return len(time.waits) == 1 and time.waits[0] != TIMEOUT_S


@pytest.mark.parametrize("jump_h", [-1, 8])
async def test_a_time_of_day_that_jumps_changes_no_length_of_time(jump_h: int) -> None:
    """Half an hour is half an hour by the watch's own time, also when the wall clock is set back or forward in it."""
    night = Night({"telephone": 0.0})
    night.happens("raised", ALARM)
    await night.sent()
    night.notifier._wall = lambda: NOW + timedelta(hours=jump_h)
    await night.lives(31)
    letters = night.postmen["telephone"].letters
    assert [letter.title for letter in letters] == [TITLE.format(""), *AGAIN[:2]]
    assert "for 30 min" in letters[-1].body
    await night.notifier.close()


async def _end(reason: str | None, *steps: NightStep) -> list[str]:
    night = Night({"telephone": 0.0})
    for step in steps:
        night.notifier.take(step)
    await night.notifier.close(reason)
    return [letter.title for letter in night.postmen["telephone"].letters]


async def test_the_end_of_a_watch_is_told_unless_the_owner_ended_it() -> None:
    """An unwatched build is an ALARM; where no machine was ever heard, nothing was watched."""
    step = NightStep(sample(1.0), Night())
    told = ["ALARM: the watch has ended (bench)"]
    assert await _end("ended by SIGTERM", step) == told
    assert await _end("strandwatch itself failed", step) == told
    assert await _end(BY_OWNER, step) == []
    assert await _end("the port is gone", NightStep(Tick(1.0), Night())) == []
    assert await _end("the port is gone") == []


async def test_the_end_is_no_alarm_where_everything_is_cold_and_at_rest() -> None:
    """A sensor that does not tell is not cold."""

    class Resting(NightStep):
        wall_c: float | None = 31.0

        @property
        def assessment(self) -> Assessment:
            wall = WallReading("manifold", self.wall_c, 0.0, 0.0, Quality.GOOD, 0.0)
            return replace(ASSESSMENT, execution=Execution.READY, walls=(wall,))

    step = Resting(sample(1.0), Night())
    assert await _end("ended by SIGTERM", step) == ["WARNING: the watch has ended (bench)"]
    for wall_c in (None, 150.0):
        step.wall_c = wall_c
        assert await _end("ended by SIGTERM", step) == ["ALARM: the watch has ended (bench)"]


async def test_a_link_that_fails_for_good_is_told_with_its_reason_made_harmless() -> None:
    """The words of a device or a system cannot speak through the message; the recorder is closed after it was sent."""
    log: list[str] = []
    postman, time = Postman(), SimulatedTime()
    failure = LinkFailedError("the port \x1b[31m<b>@all</b>" + "x" * 1_000_000)
    session = Session(ListedLink([sample(1.0)], log, failure=failure), ScriptedEngine(), name="test")
    session.record_with(NotedRecorder(log))
    session.notify_with(
        Notifier(
            NotifyPlan((postman.channel(),)),
            "bench",
            record=lambda data: session.record_note("notification", data),
            wait=time.wait,
            wall=time.wall,
        )
    )
    task = asyncio.create_task(session.run())
    await asyncio.wait({task})
    assert isinstance(task.exception(), LinkFailedError)
    (letter,) = postman.letters
    assert letter.body.startswith("The watch has ended: the port ␛(31m‹b›(at)all‹/b›xxx")
    assert len(letter.body) < 1000
    assert log[-2] == "conclude notification 1"
    assert log[-1].startswith("recorder closed: the port")


async def test_the_recording_tells_what_became_of_each_message(tmp_path: Path) -> None:
    """By the channel's name; each line fits the schema, is read again, and stands before the end line."""
    good, bad, time = Postman(), Postman(refusal="refused with status 401"), SimulatedTime()
    change = AlertTransition(5.0, "raised", ALARM, AlertState.NORMAL, "engine")
    session = Session(ListedLink([sample(5.0)]), ScriptedEngine(alerts_at={5.0: change}), name="test")
    recorder = Recorder(tmp_path / "night.jsonl", HEADER, clock=lambda: session.time_s)
    session.record_with(recorder)
    session.notify_with(
        Notifier(
            NotifyPlan((good.channel("telephone"), bad.channel("mail"))),
            "bench",
            record=lambda data: session.record_note("notification", data),
            wait=time.wait,
            wall=time.wall,
        )
    )
    await session.run()
    lines = [json.loads(line) for line in recorder.path.read_text().splitlines()]
    for line in lines[1:]:
        validator("line").validate(line)
    assert lines[-1]["kind"] == "end"
    items = Recording(recorder.path).items()
    told = [item for item in items if isinstance(item, Conclusion) and item.kind == "notification"]
    by_channel = {
        name: [(item.data["event"], item.data["outcome"]) for item in told if item.data["channel"] == name]
        for name in ("telephone", "mail")
    }
    assert by_channel["telephone"] == [("raised", "accepted"), ("watch ended", "accepted")]
    assert by_channel["mail"] == [
        ("raised", "failed: refused with status 401"),
        ("raised", "lost: the watch ended"),
        ("watch ended", "lost: the watch ended"),
    ]


def test_the_ladder_can_be_told_in_words() -> None:
    """As the opening of a watch and `alerts test` print it."""
    postman = Postman()
    plan = NotifyPlan((postman.channel("telephone"), replace(postman.channel("sister"), after_s=300.0)))
    assert ladder_text(plan) == (
        "an ALARM goes to telephone at once; sister after 5 min; then all again every 15 min, until it is acknowledged"
        " or over"
    )
    assert ladder_text(replace(plan, check_in=CheckIn(postman))).endswith("or over; a check-in every 5 min")
