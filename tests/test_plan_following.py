"""A live build followed along its plan: where it is, how fast, what is needed next, and a strand that will not last."""

from collections.abc import AsyncIterator, Iterator
from math import inf

import numpy as np
import pytest

from connectors.recording import Conclusion
from connectors.recording_encoder import Encoder
from connectors.telemetry import Execution, Sample
from monitor.build_file import BuildSchedule
from monitor.config import demo_profile
from monitor.core.engine import run
from monitor.core.engine_input import EngineInput
from monitor.core.next_use import NextUse, NextUses
from monitor.followed_source import FollowedSource
from monitor.planning.course import Change, Course, feed_of, samples, times_of, walls_of
from monitor.planning.following import PlanFollower
from monitor.planning.settings import PlanSettings
from monitor.recording.inputs import input_in
from monitor.recording.plan_note_data import next_uses_data
from tests.planned_builds import HOUR_S, Turn, lantern, layers, schedule_of
from tests.recording_examples import HEADER, validator

PARAMETERS = demo_profile().parameters
BUILD = [Turn(1, 600.0), Turn(2, 600.0), Turn(1, 1200.0), Turn(3, 600.0)]


def _byte_at(schedule: BuildSchedule, time_s: float) -> float:
    return float(np.interp(time_s, schedule.marks.time_s, schedule.marks.byte))


def _events(turns: list[Turn], slower: float = 1.0, period_s: float = 10.0, **extra: bool) -> Iterator[Sample]:
    """The machine living through a build, `slower` times slower than planned; at 195 °C."""
    schedule = schedule_of(turns)
    planned_s = times_of(schedule, period_s / slower)
    walls_c = walls_of([Change(0.0, "manifold", 195.0)], PARAMETERS, PlanSettings(), planned_s)
    course = Course(planned_s * slower, feed_of(schedule, PARAMETERS, planned_s), walls_c)
    for sample, now_s in zip(samples(course, PARAMETERS), planned_s.tolist(), strict=True):
        values = dict(sample.values)
        if "by_byte" in extra:
            values["file_byte"] = _byte_at(schedule, now_s)
        yield Sample(sample.time_s, values, Execution.ACTIVE)


def _words(turns: list[Turn], slower: float = 1.0, **extra: bool) -> list[NextUses]:
    follower = PlanFollower(schedule_of(turns))
    return [word for sample in _events(turns, slower, **extra) if (word := follower.take(sample)) is not None]


@pytest.mark.parametrize("slower", [1.0, 1.5])
def test_feed_tells_where_the_build_is_and_how_fast(slower: float) -> None:
    """By what was fed alone: the planned time within one period, the pace within 5 %, once a tenth is done."""
    for word in _words(BUILD, slower):
        assert word.planned_s == pytest.approx(word.time_s / slower, abs=15.0)
        if word.planned_s > 900.0:
            assert word.pace == pytest.approx(slower, rel=0.05)


def test_next_uses_are_those_of_the_file() -> None:
    """Twenty minutes in, input 3 is needed in twenty more; input 2 never again; input 1, which feeds, is absent."""
    word = min(_words(BUILD), key=lambda it: abs(it.time_s - 1260.0))
    told = dict(word.uses)

    assert told[3] - word.time_s == pytest.approx(2400.0 - word.planned_s, rel=0.05)
    assert told[2] == inf
    assert 1 not in told


def test_the_place_in_the_file_goes_before_feed() -> None:
    """A machine that tells its place in the file is followed by it, whatever its feed says."""
    follower = PlanFollower(schedule_of(BUILD))
    halfway = _byte_at(schedule_of(BUILD), 1800.0)
    word = follower.take(Sample(0.0, {"file_byte": halfway, "fed_mm:1": 0.0}, Execution.ACTIVE))

    assert word is not None
    assert word.planned_s == pytest.approx(1800.0, abs=60.0)


def test_a_watch_that_was_restarted_follows_on() -> None:
    """Told how far the build was, feed counts from there, though the machine's counters begin anew."""
    schedule = schedule_of(BUILD)
    follower = PlanFollower(schedule, planned_s=1500.0)
    for second in range(0, 301, 10):
        word = follower.take(Sample(float(second), {"fed_mm:1": float(second)}, Execution.ACTIVE)) or None
        if word is not None and second >= 120:
            assert word.planned_s == pytest.approx(1500.0 + second, abs=15.0)


def test_nothing_is_said_while_no_build_runs() -> None:
    """READY, or interrupted: the plan does not go on, and says nothing."""
    follower = PlanFollower(schedule_of(BUILD))

    assert follower.take(Sample(0.0, {"fed_mm:1": 0.0}, Execution.READY)) is None
    assert follower.take(Sample(100.0, {"fed_mm:1": 5.0}, Execution.INTERRUPTED)) is None


def test_a_machine_that_never_tells_its_state_is_followed_by_its_feed() -> None:
    """Nothing before the first feed; then the plan's word, as with a machine that tells that it is ACTIVE."""
    follower = PlanFollower(schedule_of(BUILD))

    assert follower.take(Sample(0.0, {"fed_mm:1": 0.0})) is None
    assert follower.take(Sample(100.0, {"fed_mm:1": 100.0})) is not None


def _live(turns: list[Turn]) -> list[EngineInput]:
    follower, told = PlanFollower(schedule_of(turns)), list[EngineInput]()
    for sample in _events(turns, period_s=4.0):
        word = follower.take(sample)
        told += [sample] if word is None else [sample, word]
    return told


def test_a_strand_that_will_not_last_until_its_next_use_is_told_hours_before() -> None:
    """The lantern at 195 °C: ember (6), needed at 11:30, is told as soon as its time left is the shorter one."""
    changes = [
        change
        for step in run(_live(lantern()), PARAMETERS)
        for change in step.transitions
        if change.alert.condition == "next_use" and change.event == "raised"
    ]
    by_input = {change.alert.input: change for change in changes}

    assert set(by_input) == {6}
    assert by_input[6].time_s < 4.0 * HOUR_S
    assert "input 6 (demo-ember) is needed in" in by_input[6].alert.text
    assert "may pass its limit in" in by_input[6].alert.text
    assert "Advance input 6" in by_input[6].alert.action


def test_a_build_that_uses_its_strands_often_calls_for_nothing() -> None:
    """With every strand needed within the half hour none runs out before."""
    steps = run(_live(layers(2.0, 1, 2, 3, 4, 5, 6)), PARAMETERS)

    assert not any(change.calls for step in steps for change in step.transitions)


def test_the_assessment_tells_the_next_use() -> None:
    """Seconds from now, infinite for never again, None while it feeds or without a plan."""
    note = NextUses(20.0, (NextUse(2, 500.0), NextUse(3, inf)), 20.0, 1.0)
    *_, step = run([*(s for s in _events(BUILD) if s.time_s <= 20.0), note], PARAMETERS)
    told = {strand.input: strand.next_use_s for strand in step.assessment.strands}

    assert told == {1: None, 2: 480.0, 3: inf, 4: None, 5: None, 6: None}


def test_the_plans_words_are_recorded_and_read_back() -> None:
    """Written as the schema says; damaged lines are none."""
    note = NextUses(20.0, (NextUse(2, 500.0), NextUse(3, inf)), 20.0, 1.25)
    line = Conclusion("next_uses", 20.0, next_uses_data(note))
    validator("next_uses").validate({"kind": line.kind, "time_s": line.time_s, **line.data})
    assert b"next_uses" in Encoder(HEADER).encode_conclusion("next_uses", 20.0, line.data)

    assert input_in(line) == note
    for damage in (
        {"pace": None},
        {"planned_s": "x"},
        {"uses": 3},
        {"uses": [{"input": "2"}]},
        {"uses": [None]},
        {"uses": [{"input": 2, "start_s": float("nan")}]},
    ):
        assert input_in(Conclusion("next_uses", 20.0, {**line.data, **damage})) is None


class _Listed:
    def __init__(self, events: list[EngineInput]) -> None:
        self._events = events

    async def events(self) -> AsyncIterator[EngineInput]:
        for event in self._events:
            yield event


async def test_the_followed_source_adds_words_and_loses_nothing() -> None:
    """Every event of the link comes through in order; words stand right behind the sample that was due."""
    given = list(_events(BUILD))
    source = FollowedSource(_Listed(list(given)), PlanFollower(schedule_of(BUILD)))
    got = [event async for event in source.events()]

    assert [event for event in got if isinstance(event, Sample)] == given
    words = [event for event in got if isinstance(event, NextUses)]
    assert len(words) == pytest.approx(3000 / 60, abs=2)
