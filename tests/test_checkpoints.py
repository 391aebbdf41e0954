"""Any place in a recording, reached by any way, is that of a straight run: doses, stalls, alerts, requests."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass
from functools import cache
from pathlib import Path
from random import Random

import numpy as np
import pytest

import monitor.replay.checkpoints
from connectors.recording import Conclusion, read_recording
from connectors.telemetry import LinkChange, Sample, Tick
from monitor.config import profile_from_tables
from monitor.core.alert_types import AlertTransition, Request, RequestKind
from monitor.core.alert_values import point_values
from monitor.core.assess import assess
from monitor.core.engine import advance
from monitor.core.engine_input import EngineInput
from monitor.core.engine_state import EngineState, Model, build_model, initial_state
from monitor.core.next_use import NextUse, NextUses
from monitor.replay.checkpoints import SPACING_EVENTS, SPACING_S, Timeline, judged

REPLAYS = Path(__file__).parent.parent / "replays"
NIGHTS = ("jam-after-idle", "link-drop-outs")


@cache
def night(name: str) -> tuple[Model, tuple[EngineInput, ...]]:
    """A recorded night whose owner answers every alert a minute later, and whose plan speaks now and then."""
    recording = read_recording(REPLAYS / f"{name}.jsonl.zst")
    header = recording.header
    model = build_model(profile_from_tables(header.profile, header.materials, name).parameters)
    events = [item for item in recording.items() if not isinstance(item, Conclusion)]
    return model, tuple(_with_words(model, events))


def _with_words(model: Model, events: Sequence[EngineInput]) -> Iterator[EngineInput]:
    state, owed = initial_state(model), list[tuple[float, str]]()
    for number, event in enumerate(events):
        while owed and owed[0][0] < event.time_s:
            due_s, alert_id = owed.pop(0)
            answers = (
                Request(due_s, RequestKind.ACKNOWLEDGE, alert_id, "owner"),
                Request(due_s, RequestKind.SHELVE, alert_id, "owner", "being dealt with", 600.0),
            )
            for answer in answers:
                state, _ = advance(model, state, answer)
                yield answer
        if number % 500 == 400:
            note = NextUses(
                event.time_s, (NextUse(1, event.time_s + 900.0), NextUse(4, float("inf"))), event.time_s, 1.0
            )
            state, _ = advance(model, state, note)
            yield note
        state, told = advance(model, state, event)
        owed += [(event.time_s + 60.0, change.alert.id) for change in told if change.event == "raised"]
        yield event


@cache
def straight(name: str) -> tuple[EngineState, ...]:
    """States of a straight run: before the first event, and after each."""
    model, events = night(name)
    states = [initial_state(model)]
    for event in events:
        states.append(advance(model, states[-1], event)[0])
    return tuple(states)


@cache
def timeline_of(name: str) -> Timeline:
    model, events = night(name)
    return judged(events, model)


def leaves(value: object, at: str = "") -> Iterator[tuple[str, object]]:
    """All that a value is made of, with its place in it; arrays and numbers to the last bit."""
    if isinstance(value, np.ndarray):
        yield at, (value.shape, value.tobytes())
        return
    inside: Iterable[tuple[object, object]] = ()
    if is_dataclass(value):
        inside = ((part.name, getattr(value, part.name)) for part in fields(value))
    elif isinstance(value, Mapping):
        inside = sorted(value.items(), key=str)
    elif isinstance(value, tuple):
        inside = zip(getattr(value, "_fields", range(len(value))), value, strict=True)
    else:
        yield at, repr(value)
    yield f"{at} type", type(value)
    for name, part in inside:
        yield from leaves(part, f"{at}.{name}")


def differences(now: object, then: object) -> list[str]:
    """Where two values differ in anything."""
    one, other = dict(leaves(now)), dict(leaves(then))
    return [at for at in one.keys() | other.keys() if one.get(at) != other.get(at)]


@pytest.mark.parametrize("name", NIGHTS)
def test_the_nights_of_these_tests_hold_what_they_are_to_show(name: str) -> None:
    """Several stretches, an alert that was answered, words of the plan; in one a stall, in the other a silent link."""
    _, events = night(name)
    last = straight(name)[-1]
    assert timeline_of(name).states_kept > 10
    assert any(isinstance(event, Request) for event in events)
    assert last.next_use_s
    assert last.alerts.counts
    if name == "jam-after-idle":
        assert any(stall.is_told for state in straight(name) for stall in state.stalls.inputs)
    else:
        assert any(isinstance(event, LinkChange | Tick) for event in events)


@pytest.mark.parametrize("name", NIGHTS)
def test_a_place_reached_by_any_way_is_that_of_a_straight_run(name: str) -> None:
    """Forwards, backwards, step by step and at random: states are equal to the last bit."""
    timeline, states = timeline_of(name), straight(name)
    random = Random(11)  # noqa: S311 -- repeatable places, no secret
    far = [random.randrange(len(states)) for _ in range(60)]
    near = [place + step for place in far[:8] for step in (0, 1, -1, 2) if 0 <= place + step < len(states)]
    for place in (0, len(states) - 1, *far, *near, *sorted(far), *sorted(far, reverse=True)):
        assert differences(timeline.state_at(place), states[place]) == []


@pytest.mark.parametrize("name", NIGHTS)
def test_what_is_concluded_at_a_place_is_what_was_concluded_then(name: str) -> None:
    """Doses, alerts with their stories, stalls, advice: the whole assessment is the same."""
    model, _ = night(name)
    timeline, states = timeline_of(name), straight(name)
    for place in range(len(states) - 1, 0, -len(states) // 25):
        state = timeline.state_at(place)
        then = assess(model, states[place], point_values(model, states[place]))
        now = assess(model, state, point_values(model, state))
        assert differences(now, then) == []


def test_a_difference_would_be_found() -> None:
    """The comparison of these tests sees one bit of one dose, and one word of one alert."""
    states = straight("jam-after-idle")
    state = states[-1]
    assert state.field is not None
    dose_min = state.field.dose_min.copy()
    dose_min[0, 5] = np.nextafter(dose_min[0, 5], np.inf)
    other = state._replace(field=state.field._replace(dose_min=dose_min))
    assert differences(state, other) == [".field.dose_min"]
    assert ".time_s" in differences(states[-1], states[-2])


def test_with_fewer_checkpoints_places_stay_the_same_and_memory_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond the most that is kept every other checkpoint goes; what is between is reached from the one before."""
    monkeypatch.setattr(monitor.replay.checkpoints, "MOST_STATES", 6)
    model, events = night("jam-after-idle")
    timeline, states = judged(events, model), straight("jam-after-idle")
    assert timeline.states_kept <= 6
    for place in range(0, len(states), 377):
        assert differences(timeline.state_at(place), states[place]) == []


def test_no_place_is_far_from_a_checkpoint(monkeypatch: pytest.MonkeyPatch) -> None:
    """However it is reached, no more events are judged anew than a stretch may hold, nor more machine time."""
    model, events = night("jam-after-idle")
    timeline, judged_s = judged(events, model), list[float]()

    def counted(
        model: Model, state: EngineState, event: EngineInput
    ) -> tuple[EngineState, tuple[AlertTransition, ...]]:
        judged_s.append(event.time_s)
        return advance(model, state, event)

    monkeypatch.setattr(monitor.replay.checkpoints, "advance", counted)
    random = Random(5)  # noqa: S311 -- repeatable places
    for _ in range(200):
        judged_s.clear()
        timeline.state_at(random.randrange(len(events) + 1))
        assert len(judged_s) <= SPACING_EVENTS
        assert not judged_s or judged_s[-1] - judged_s[0] <= SPACING_S


def test_a_time_is_the_place_after_all_that_was_told_by_then() -> None:
    """Whatever stretch it lies in; before the first event nothing was told, after the last all."""
    timeline = timeline_of("jam-after-idle")
    _, events = night("jam-after-idle")
    told_s = np.maximum.accumulate([event.time_s for event in events])
    for time_s in (-1.0, 0.0, 0.5, *told_s[::211], *(told_s[::307] + 0.7), told_s[-1], 1e9):
        place = timeline.count_at(float(time_s))
        assert place == int(np.searchsorted(told_s, time_s, side="right"))
        if place:
            assert timeline.time_at(place) == told_s[place - 1] <= time_s


def test_samples_are_stepped_over_one_by_one() -> None:
    """On and back again over the seams of stretches: the last event at each place is a sample, none is left out."""
    timeline = timeline_of("link-drop-outs")
    _, events = night("link-drop-outs")
    samples = [at + 1 for at, event in enumerate(events) if isinstance(event, Sample)]
    walked, place = [], timeline.sample_after(0)
    while place is not None:
        walked.append(place)
        place = timeline.sample_after(place)
    assert walked == samples
    back, place = [], timeline.sample_before(len(events) + 1)
    while place is not None:
        back.append(place)
        place = timeline.sample_before(place)
    assert back[::-1] == samples
