"""Heaters off their set point, cooling that fails, sensors that cannot be believed, and what holds such alerts back."""

import random
from collections.abc import Iterable, Iterator
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from connectors.telemetry import Event, Execution, Sample, Tick
from monitor.core.alert_types import AlertState, AlertTransition, Request, RequestKind
from monitor.core.engine import run
from monitor.core.engine_input import EngineInput
from monitor.core.parameters import ColdEnd, Parameters, WallLaw
from monitor.core.readings import Sensor
from monitor.core.sensor_trace import SensorTrace, is_jump, jumps_lately, still_s, traced
from tests.machines import machine

WALLS = {"temp_c:cold_end": 32.0, "temp_c:manifold": 195.0, "temp_c:nozzle": 225.0}
SETS = {"set_c:manifold": 195.0, "set_c:nozzle": 225.0}


def _sample(time_s: float, execution: Execution | None = None, **values: float) -> Sample:
    named = {name.replace("__", ":"): value for name, value in values.items()}
    return Sample(time_s, {**WALLS, **SETS, "fed_mm:1": 0.0, **named}, execution)


def _changes(events: Iterable[EngineInput], parameters: Parameters | None = None) -> list[AlertTransition]:
    steps = run(events, machine() if parameters is None else parameters)
    return [change for step in steps for change in step.transitions]


def _calls(events: Iterable[EngineInput]) -> list[tuple[str, str, str]]:
    return [(it.event, it.alert.condition, it.alert.priority.name) for it in _changes(events) if it.calls]


def _ramp(start_c: float, end_c: float, k_s: float, from_s: float, until_s: float) -> Iterator[tuple[float, float]]:
    """Time and temperature of a block that heats or cools evenly and stays."""
    step_k = k_s if end_c > start_c else -k_s
    time_s, temp_c = from_s, start_c
    while time_s < until_s:
        yield time_s, temp_c
        time_s += 2.0
        moved_c = temp_c + 2.0 * step_k
        temp_c = min(moved_c, end_c) if step_k > 0 else max(moved_c, end_c)


def test_heating_up_is_no_fault() -> None:
    """From cold to the set point and on: nothing calls; what was held back is told as suppressed by design."""
    changes = _changes(_sample(s, temp_c__manifold=c) for s, c in _ramp(25.0, 195.0, 0.4, 0.0, 1500.0))

    assert not any(change.calls for change in changes)
    assert [(change.event, change.alert.state) for change in changes] == [
        ("suppressed", AlertState.SUPPRESSED),
        ("cleared", AlertState.NORMAL),
    ]
    assert changes[0].alert.why_held_back == "it is on its way to its set point"


def test_a_lower_set_point_is_no_fault_either() -> None:
    """A block that cools by itself to a lower set point is above it for minutes."""
    warm = [_sample(float(s)) for s in range(0, 600, 2)]
    cooling = [_sample(s, temp_c__manifold=c, set_c__manifold=170.0) for s, c in _ramp(195.0, 170.0, 0.05, 600, 2400)]

    assert _calls([*warm, *cooling]) == []


def test_a_heater_that_fails_while_it_heats_up_is_told() -> None:
    """A block that comes no nearer to its set point for minutes is not on its way any more."""
    stuck = [_sample(s, temp_c__manifold=c, duty__manifold=1.0) for s, c in _ramp(25.0, 110.0, 0.4, 0.0, 1500.0)]
    changes = [change for change in _changes(stuck) if change.calls]

    assert [change.event for change in changes] == ["raised", "escalated"]
    assert changes[0].time_s < 600.0
    assert "sensor manifold is at 110 °C, 85 K below its set point of 195 °C, at 100 % duty" in changes[0].alert.text
    assert "heats at 100 %" in changes[0].alert.action


def test_a_heater_that_fails_later_is_told_with_what_follows_folded() -> None:
    """The manifold falls from its set point while a strand feeds: one cause, one alert."""
    warm = [_sample(float(s), fed_mm__1=s / 10.0) for s in range(0, 600, 2)]
    falling = [_sample(s, temp_c__manifold=c, fed_mm__1=s / 10.0) for s, c in _ramp(195.0, 150.0, 0.2, 600.0, 1100.0)]
    changes = _changes([*warm, *falling])

    assert {change.alert.condition for change in changes} == {"heater_low", "cold_feed"}
    assert len({change.alert.condition for change in changes if change.calls}) == 1
    (first, *_) = (change for change in changes if change.calls)
    assert "does not come to its set point of 195 °C. Look at its heater" in first.alert.action


def test_a_heater_that_does_not_switch_off_becomes_an_alarm() -> None:
    """Above its set point by more and more: WARNING, then ALARM, and the action says to cut the power."""
    warm = [_sample(float(s)) for s in range(0, 600, 2)]
    rising = [_sample(s, temp_c__nozzle=c) for s, c in _ramp(225.0, 300.0, 0.1, 600.0, 1200.0)]
    changes = [c for c in _changes([*warm, *rising]) if c.alert.condition == "heater_high" and c.calls]

    assert [(change.event, change.alert.priority.name) for change in changes] == [
        ("raised", "WARNING"),
        ("escalated", "ALARM"),
    ]
    assert "cut the power" in changes[-1].alert.action


def test_a_heater_that_is_off_keeps_nothing() -> None:
    """Set point 0 is how controllers write off: a machine that cools after its build is below no set point."""
    cooling = [_sample(s, temp_c__manifold=c, set_c__manifold=0.0) for s, c in _ramp(195.0, 30.0, 0.2, 600.0, 2000.0)]

    assert _calls([_sample(float(s)) for s in range(0, 600, 2)] + cooling) == []


def test_failing_cooling_is_told_before_anything_softens() -> None:
    """The cold end comes within 8 K of the lowest glass transition, 60 °C; softening comes later, folded under it."""
    warming = [_sample(s, temp_c__cold_end=c) for s, c in _ramp(32.0, 70.0, 0.01, 0.0, 5000.0)]
    changes = _changes(warming)
    first = changes[0]

    assert (first.event, first.alert.condition) == ("raised", "cooling")
    assert "the cold end is at 5" in first.alert.text
    assert "within 8 K of where test-grey softens" in first.alert.text
    assert any(change.alert.condition == "softening" and change.alert.folded_under for change in changes)


def test_an_estimated_cold_end_tells_of_no_cooling() -> None:
    """The model cannot see cooling that fails, so there is no such point: nothing pretends to watch it."""
    bench = machine()
    zones = (replace(bench.zones[0], law=WallLaw.ESTIMATED), *bench.zones[1:])
    estimated = replace(bench, zones=zones, cold_end=ColdEnd(270.0, 0.15, 1.5, 25.0))
    events = [_sample(s, temp_c__manifold=c) for s, c in _ramp(25.0, 195.0, 0.4, 0.0, 3000.0)]

    assert all(change.alert.condition != "cooling" for change in _changes(events, estimated))


def _flickering(until_s: float, random_c: random.Random, every_s: float = 2.0) -> Iterator[Sample]:
    for step in range(int(until_s / every_s)):
        yield _sample(step * every_s, temp_c__manifold=195.0 + round(random_c.gauss(0.0, 0.15), 1))


def test_a_sensor_that_stands_still_is_told() -> None:
    """After an hour of flicker by tenths, the very same value for a quarter of an hour and more."""
    lively = list(_flickering(3600.0, random.Random(1)))  # noqa: S311 -- noise, not a secret
    stuck = [_sample(3600.0 + 2 * s, temp_c__manifold=195.3) for s in range(1200)]
    (change, *_) = [it for it in _changes([*lively, *stuck]) if it.alert.condition == "implausible"]

    assert 3600.0 + 900.0 <= change.time_s <= 3600.0 + 960.0
    assert "sensor manifold has read exactly 195.3 °C for 15 min" in change.alert.text


def test_a_coarse_sensor_may_stand_still() -> None:
    """In whole kelvin a steady block shows one value for hours; that is no fault."""
    flips = [_sample(2.0 * s, temp_c__manifold=195.0 + s % 2) for s in range(1800)]
    steady = [_sample(3600.0 + 2 * s, temp_c__manifold=195.0) for s in range(3600)]

    assert _calls([*flips, *steady]) == []


def test_a_sensor_that_jumps_is_told_and_one_jump_is_not() -> None:
    """Three leaps within ten minutes that no metal can make; a single odd value proves nothing."""
    calm = [_sample(2.0 * s) for s in range(300)]
    loose = [_sample(600.0 + 2 * s, temp_c__nozzle=225.0 if s % 40 else 120.0) for s in range(150)]
    once = [_sample(600.0 + 2 * s, temp_c__nozzle=225.0 if s != 40 else 260.0) for s in range(150)]
    told = [change for change in _changes([*calm, *loose]) if change.alert.condition == "implausible"]

    assert told
    assert "jumped" in told[0].alert.text
    assert "by up to 105 K" in told[0].alert.text
    assert _calls([*calm, *once]) == []


@pytest.mark.parametrize(
    ("change_k", "over_s", "expected"), [(35.0, 1.0, True), (20.0, 1.0, False), (90.0, 60.0, False)]
)
def test_what_metal_can_do(change_k: float, over_s: float, expected: bool) -> None:  # noqa: FBT001 -- a case's outcome
    """12 K and 12 K/s beyond: faster is a jump; readings far apart tell nothing."""
    assert is_jump(change_k, over_s) is expected


def _ended(last: Execution, set_c: float, wall_c: float) -> list[Event]:
    """A build that ran, ended, and left the machine at these temperatures; then silence."""
    sets = {"set_c__manifold": set_c, "set_c__nozzle": set_c}
    active = [_sample(float(s), Execution.ACTIVE) for s in range(0, 300, 2)]
    falling = [
        _sample(s, last, temp_c__manifold=c, temp_c__nozzle=c, **sets) for s, c in _ramp(195.0, wall_c, 1.0, 300, 800)
    ]
    return [*active, *falling, *(Tick(800.0 + s) for s in range(600))]


def test_a_machine_switched_off_after_its_build_wakes_nobody() -> None:
    """Build over, heaters off, walls cold: that no data come is expected; it is held back and says why."""
    changes = _changes(_ended(Execution.PROGRAM_COMPLETED, 0.0, 30.0))
    (silent,) = [change for change in changes if change.alert.condition == "link"]

    assert silent.alert.state is AlertState.SUPPRESSED
    assert silent.alert.why_held_back == "the build is over and the machine is cold"
    assert not any(change.calls for change in changes)


@pytest.mark.parametrize(
    ("last", "set_c", "wall_c"),
    [
        (Execution.PROGRAM_COMPLETED, 195.0, 195.0),  # still hot
        (Execution.PROGRAM_COMPLETED, 195.0, 30.0),  # told to heat
        (Execution.INTERRUPTED, 0.0, 30.0),  # not over
    ],
)
def test_silence_of_a_machine_that_is_hot_or_not_done_is_an_alarm(last: Execution, set_c: float, wall_c: float) -> None:
    """Only a cold machine after its build may fall silent."""
    assert ("raised", "link", "ALARM") in _calls(_ended(last, set_c, wall_c))


def test_a_machine_that_never_built_may_not_fall_silent() -> None:
    """READY and cold before its build: a watch that hears nothing would not hear the build either."""
    sets = {"set_c__manifold": 0.0, "set_c__nozzle": 0.0, "temp_c__manifold": 25.0, "temp_c__nozzle": 25.0}
    ready = [_sample(float(s), Execution.READY, **sets) for s in range(0, 300, 2)]

    assert ("raised", "link", "ALARM") in _calls([*ready, *(Tick(300.0 + s) for s in range(200))])


def test_lost_link_is_told_within_a_minute_and_alone() -> None:
    """From the last data on; nothing else of that machine calls, though a strand comes to stand for long meanwhile."""
    events: list[Event] = [*(_sample(2.0 * s) for s in range(300)), *(Tick(600.0 + s) for s in range(9 * 3600))]
    changes = [change for change in _changes(events) if change.calls and change.event == "raised"]

    assert changes[0].alert.condition == "link"
    assert changes[0].time_s - 598.0 <= 60.0
    assert {change.alert.condition for change in changes} <= {"link", "dose"}


def test_out_of_service_lasts_until_it_is_put_back() -> None:
    """A sensor known to be broken is taken out; hours later it is still out, and put back it calls again."""
    silent = [
        Sample(2.0 * s, {name: value for name, value in {**WALLS, **SETS}.items() if name != "temp_c:nozzle"})
        for s in range(3 * 1800)
    ]
    out = Request(200.0, RequestKind.TAKE_OUT, "sensor/sensor nozzle/1", "owner", "broken")
    back = Request(9000.0, RequestKind.PUT_BACK, "sensor/sensor nozzle/1", "owner")
    told_and_asked: list[EngineInput] = [*silent, out, back]
    events = sorted(told_and_asked, key=lambda event: event.time_s)
    told = [(c.time_s, c.event) for c in _changes(events) if c.alert.condition == "sensor"]

    assert [event for _, event in told][:3] == ["raised", "out of service", "in service"]
    assert told[2][0] == 9000.0


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.0, 30.0), st.floats(-50.0, 600.0), st.sampled_from([None, 0.0, 195.0])), max_size=60)
)
def test_any_readings_are_survived(readings: list[tuple[float, float, float | None]]) -> None:
    """Whatever a sensor says, its trace stays bounded, and what it says of it is finite."""
    trace, before, time_s = SensorTrace(), Sensor(), 0.0
    for wait_s, temp_c, set_c in readings:
        time_s += wait_s
        after = Sensor(temp_c, set_c, None, time_s)
        trace, before = traced(trace, before, after, time_s), after
        assert len(trace.jumps) <= 10
        assert all(size > 12.0 for size in jumps_lately(trace, time_s))
        assert still_s(trace, time_s) is None or (still_s(trace, time_s) or 0.0) > 0.0
