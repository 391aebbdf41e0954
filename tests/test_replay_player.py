"""A replay moves as it is told: pace, steps, jumps; what it shows at a place is what a straight run knows there."""

import asyncio
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from connectors.recording import Conclusion, read_recording
from connectors.telemetry import Sample
from monitor.commands.replay_screen import closing_lines
from monitor.config import demo_profile, profile_from_tables
from monitor.core.alert_types import AlertState, RequestKind
from monitor.core.engine import Engine
from monitor.every import Every
from monitor.history.memory import History
from monitor.recording.start import start_recording
from monitor.replay.clock import RecordedClock
from monitor.replay.player import Player
from monitor.replay.reading import HISTORY_SIZES, REMEMBERED_EVERY_S, Reading
from monitor.replay.view import FASTEST, MarkKind
from monitor.session import Session
from monitor.step import Step
from tests.watch_examples import ListedLink

REPLAYS = Path(__file__).parent.parent / "replays"
LEFT_IDLE = REPLAYS / "left-idle.jsonl.zst"
RAISED_S, LIMIT_S, END_S = 16_044.0, 23_624.0, 25_200.0
"""From the recorded alert lines of that night, as `jq 'select(.kind=="alert")'` shows them."""


def reading_of(path: Path) -> Reading:
    recording = read_recording(path)
    header = recording.header
    return Reading(recording, profile_from_tables(header.profile, header.materials, path.name).parameters)


@cache
def left_idle() -> Reading:
    """The night in which input 4 is left standing, read to its end."""
    reading = reading_of(LEFT_IDLE)
    while not reading.is_over:
        reading.go_on(1.0)
    return reading


class Hands:
    """A player whose clock the test turns."""

    def __init__(self, reading: Reading, speed: float = 60.0) -> None:
        self.now_s = 0.0
        self.player = Player(reading, "a recording", speed=speed, clock=lambda: self.now_s)

    def let_pass(self, seconds: float) -> None:
        """Time goes by in tenths, as in a running program."""
        for _ in range(round(seconds * 10)):
            self.now_s += 0.1
            self.player.move_on()


def state_after(player: Player, move: Callable[[], None]) -> AlertState:
    """State of the most urgent alert after a move."""
    move()
    assert player.latest is not None
    return player.latest.alerts[0].state


@pytest.mark.parametrize("speed", [1.0, 60.0, 960.0])
def test_it_plays_at_its_pace(speed: float) -> None:
    """So many machine seconds in a second; the data shown are the newest by then."""
    hands = Hands(left_idle(), speed)
    hands.let_pass(8.0)
    assert hands.player.replay.time_s == pytest.approx(8.0 * speed)
    latest = hands.player.latest
    assert latest is not None
    assert 0.0 <= 8.0 * speed - latest.time_s < 4.0 + 1e-6  # this night has a sample every four seconds


def test_the_past_of_a_replay_is_what_a_straight_run_knows() -> None:
    """Every value of every curve is that of an assessment at that time, also what lies ahead of the place."""
    reading = reading_of(LEFT_IDLE)
    engine, due, told = Engine(reading.model.parameters), Every(REMEMBERED_EVERY_S), History(HISTORY_SIZES)
    while reading.timeline.head.time_s < 2000.0:
        reading.go_on(0.0)
    for event in reading.timeline._events(0, reading.timeline.count):
        step = engine.advance(event)
        if due(event.time_s):
            told.take(step.assessment)
    player = Player(reading, "a recording", speed=60.0)
    reading.close()
    for key in told.keys:
        now, then = player.history.trend(key, 0.0, 1990.0, 33), told.trend(key, 0.0, 1990.0, 33)
        if not key.startswith("slip"):  # looked at only while a strand feeds
            assert_array_equal(now.last, then.last)
            assert_array_equal(now.low, then.low)
    assert player.replay.time_s == 0.0


def test_the_whole_night_is_remembered_and_its_end_nothing_more() -> None:
    """A trend up to the present place ends there, one up to the end goes on to the end."""
    history, columns = left_idle().history, 70
    assert history.span is not None
    assert 0.0 <= history.span[0] <= REMEMBERED_EVERY_S
    assert END_S - REMEMBERED_EVERY_S <= history.span[1] <= END_S
    dose = history.trend("dose 4", history.span[0], END_S, columns)
    assert dose.known.all()
    assert np.all(np.diff(dose.last[5:-10]) > 0.0)  # left standing
    assert not history.trend("dose 4", END_S + 60.0, 2 * END_S, columns).known.any()


def test_a_halted_program_does_not_leap() -> None:
    """After a suspension of an hour it goes on where it was."""
    hands = Hands(left_idle(), 60.0)
    hands.let_pass(1.0)
    hands.now_s += 3600.0
    hands.player.move_on()
    assert hands.player.replay.time_s <= 60.0 + 60.0


def test_as_fast_as_it_goes_reaches_the_end_and_stays_there() -> None:
    """The end pauses it; playing again begins anew."""
    hands = Hands(left_idle(), FASTEST)
    for _ in range(5000):
        hands.player.move_on()
        if not hands.player.replay.is_playing:
            break
    view = hands.player.replay
    assert (view.is_playing, view.time_s, view.end) == (False, END_S, "the recording ends here")
    hands.player.play_or_pause()
    assert hands.player.replay.is_playing
    assert hands.player.replay.time_s == 0.0


def test_alerts_are_jumped_to_exactly_and_in_both_directions() -> None:
    """The alert has been raised at the place shown, and had not one sample before."""
    player = Hands(left_idle()).player
    player.go_to_alert(1)
    assert player.replay.time_s == RAISED_S
    assert player.latest is not None
    assert [alert.input for alert in player.latest.alerts] == [4]
    assert not player.replay.is_playing
    player.step(-1)
    assert player.latest.alerts == ()
    player.step(1)
    player.go_to_alert(1)
    second_s = player.replay.time_s
    player.go_to_alert(1)
    assert RAISED_S < second_s < player.replay.time_s == LIMIT_S
    player.go_to_alert(1)
    assert player.replay.told == "no alert after this"
    player.go_to_alert(-1)
    assert player.replay.time_s == second_s
    player.go_to_alert(-1)
    player.go_to_alert(-1)
    assert player.replay.told == "no alert before this"
    assert player.replay.time_s == RAISED_S


def test_doses_that_pass_a_mark_are_jumped_to_and_round_again() -> None:
    """At the place the dose is past its mark, one sample before it is not; after the last comes the first."""
    player = Hands(left_idle()).player
    for kind, share_of in ((MarkKind.WARN_DOSE, "dose_warn_min"), (MarkKind.LIMIT_DOSE, "dose_limit_min")):
        player.go_to_dose()
        here = player.latest
        player.step(-1)
        before = player.latest
        assert here is not None
        assert before is not None
        at, then = here.strands[3], before.strands[3]
        assert then.dose_now_min < getattr(at, share_of) <= at.dose_now_min
        player.step(1)
        assert any(mark.kind is kind and mark.time_s == here.time_s for mark in player.replay.marks)
    player.go_to_dose()
    assert player.latest is not None
    assert player.latest.strands[3].dose_share < 1.0


def test_the_last_feed_of_a_strand_is_found_backwards() -> None:
    """There it was being fed, a sample later no more; from there the one before is found."""
    player = Hands(left_idle()).player
    player.go_to(END_S)
    player.go_to_feed(4)
    last_s = player.replay.time_s
    latest = player.latest
    assert latest is not None
    assert latest.strands[3].idle_s == 0.0
    player.skip(60.0)
    assert player.latest is not None
    assert player.latest.strands[3].idle_s > 0.0
    events = [item for item in read_recording(LEFT_IDLE).items() if isinstance(item, Sample)]
    fed = [(event.time_s, event.values["fed_mm:4"]) for event in events if "fed_mm:4" in event.values]
    highest_mm = max(mm for _, mm in fed)
    assert last_s == next(time_s for time_s, mm in fed if mm == highest_mm)
    player.go_to(last_s - 1000.0)
    player.go_to_feed(4)
    assert player.replay.told in {"", "input 4 was not fed before this place"}


def test_a_time_of_day_is_found_and_wraps_to_the_beginning() -> None:
    """Reckoned from the recording's own start; one that it does not hold says so and changes nothing."""
    reading = left_idle()
    player = Hands(reading).player
    start = reading.recording.header.start
    noted_s = (start.hour * 3600 + start.minute * 60 + start.second + 5400) % 86_400
    player.go_to_clock(noted_s)
    assert player.replay.time_s == pytest.approx(5400.0 - start.microsecond * 1e-6)
    assert player.replay.clock.endswith(f"{start + timedelta(seconds=5400):%H:%M:%S}")
    player.go_to(20_000.0)
    player.go_to_clock(noted_s)
    assert player.replay.time_s == pytest.approx(5400.0, abs=1.0)
    player.go_to_clock((noted_s - 7200) % 86_400)
    assert player.replay.told == "the recording holds no such time of day"
    assert player.replay.time_s == pytest.approx(5400.0, abs=1.0)


def test_paces_are_stepped_through_and_end_at_both_ends() -> None:
    """From 1× to as fast as it goes; a pace of one's own has neighbours too."""
    player = Hands(left_idle(), 100.0).player
    seen = []
    for step in (1, 1, 1, 1, -1, -1, -1, -1, -1, -1, -1, -1):
        player.faster(step)
        seen.append(player.replay.speed)
    assert seen == [240.0, 960.0, FASTEST, FASTEST, 960.0, 240.0, 60.0, 15.0, 4.0, 1.0, 1.0, 1.0]


def test_a_jump_beyond_what_was_read_waits_for_it() -> None:
    """It is told what is waited for; once it is read the place is the same as in a recording that was read before."""
    hands = Hands(reading_of(LEFT_IDLE))
    hands.player.move_on()
    hands.player.go_to_alert(1)
    assert hands.player.replay.waits_for == "the next alert"
    assert hands.player.latest is None or hands.player.latest.time_s < RAISED_S
    for _ in range(5000):
        hands.player.move_on()
        if not hands.player.replay.waits_for:
            break
    assert hands.player.replay.time_s == RAISED_S
    hands.player.go_to(END_S - 100.0)
    hands.player.play_or_pause()  # another key takes it back
    assert hands.player.replay.waits_for == ""


def test_reading_yields_to_whoever_else_has_something_to_do() -> None:
    """While all is read, others get their turn within a fraction of a second, always."""

    async def meanwhile() -> float:
        player = Hands(reading_of(REPLAYS / "tangle.jsonl.zst")).player
        task, loop = asyncio.create_task(player.run()), asyncio.get_running_loop()
        longest_s, before_s = 0.0, loop.time()
        while not player.replay.is_read:
            await asyncio.sleep(0)
            longest_s, before_s = max(longest_s, loop.time() - before_s), loop.time()
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task
        return longest_s

    assert asyncio.run(meanwhile()) < 0.5  # bites take 0.015 s; the rest is for a busy test machine


def test_nothing_can_be_asked_of_the_past() -> None:
    """The alerts stay as they were; the owner is told why."""
    player = Hands(left_idle()).player
    player.go_to_alert(1)
    assert player.latest is not None
    player.ask(RequestKind.ACKNOWLEDGE, player.latest.alerts[0].id)
    assert "is replayed" in player.replay.told
    assert player.latest.alerts[0].state is AlertState.UNACKNOWLEDGED


def test_what_the_owner_acknowledged_then_is_acknowledged_in_the_replay(tmp_path: Path) -> None:
    """The request is in the recording, so the alert is acknowledged from its time on; the conclusions agree."""
    path = tmp_path / "night.jsonl"
    profile = demo_profile()
    events = [item for item in read_recording(LEFT_IDLE).items() if not isinstance(item, Conclusion)]
    session = Session(ListedLink(events[:4200]), Engine(profile.parameters), name="a listed night")
    start_recording(session, profile, path)

    def see(step: Step) -> None:
        for transition in step.transitions:
            if transition.event == "raised":
                session.ask(RequestKind.ACKNOWLEDGE, transition.alert.id)

    session.observe(see)
    asyncio.run(session.run())
    reading = reading_of(path)
    while not reading.is_over:
        reading.go_on(1.0)
    player = Hands(reading).player
    assert state_after(player, lambda: player.go_to_alert(1)) is AlertState.UNACKNOWLEDGED
    assert state_after(player, lambda: player.step(1)) is AlertState.ACKNOWLEDGED
    assert [line for line in closing_lines(reading) if line.startswith("conclusions: as recorded then")]


def test_a_recording_left_too_soon_is_not_compared() -> None:
    """What was not read cannot agree."""
    assert list(closing_lines(reading_of(LEFT_IDLE))) == [
        "left before all of the recording was read: its conclusions were not compared"
    ]


def test_gaps_are_marked() -> None:
    """Where the link was silent for longer than data may be old, and nowhere else."""
    reading = reading_of(REPLAYS / "link-drop-outs.jsonl.zst")
    while not reading.is_over:
        reading.go_on(1.0)
    times = [item.time_s for item in read_recording(reading.recording.path).items() if isinstance(item, Sample)]
    silent = [pair for pair in pairwise(times) if pair[1] - pair[0] > 5.0]
    assert len(silent) >= 1
    assert [(gap.begin_s, gap.end_s) for gap in reading.marks.gaps] == silent
    assert left_idle().marks.gaps == []


ZONE = timezone(timedelta(hours=1))
START = datetime(2026, 11, 25, 22, 0, 0, tzinfo=ZONE)


def test_the_clock_follows_one_that_was_set() -> None:
    """Most lines agree with the start; one that was set back an hour holds from there on."""
    clock = RecordedClock(START)
    for minute in range(1, 9):
        wall = START + timedelta(minutes=minute) - timedelta(hours=minute > 5)
        clock.take(Conclusion("clock", 60.0 * minute, {"wall": wall.isoformat()}))
    assert clock.at(120.0) == START + timedelta(seconds=120)
    assert clock.at(400.0) == START + timedelta(seconds=400) - timedelta(hours=1)


def test_a_recording_made_faster_than_life_keeps_its_own_time() -> None:
    """Where every line disagrees, the machine time counts from the start; damaged lines count for nothing."""
    clock = RecordedClock(START)
    for minute in range(1, 9):
        wall = START + timedelta(seconds=minute)
        clock.take(Conclusion("clock", 60.0 * minute, {"wall": wall.isoformat()}))
        clock.take(replace(Conclusion("clock", 1.0, {}), data={"wall": "no time"}))
    assert clock.at(480.0) == START + timedelta(seconds=480)
