"""The engine on small streams of events: time, silence, feed, alerts, and the promise to be pure."""

import pickle
from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from connectors.telemetry import Event, Execution, LinkChange, Malformed, Sample, Tick
from monitor.core.alert_types import AlertState, Priority, Request, RequestKind
from monitor.core.assessment import Activity, Condition, Quality
from monitor.core.dose import cautious_law
from monitor.core.engine import Engine, Step, advance, run
from monitor.core.engine_input import EngineInput
from monitor.core.engine_state import build_model, initial_state
from monitor.core.parameters import AlertLimits, Parameters
from tests.machines import GREY, machine

HOT = {"temp_c:cold_end": 32.0, "temp_c:manifold": 195.0, "temp_c:nozzle": 225.0, "set_c:manifold": 195.0}


_SEEN = Request(60.0, RequestKind.ACKNOWLEDGE, "cold_feed/input 1/1", "owner")


def _sample(time_s: float, fed_mm: float = 0.0, **walls: float) -> Sample:
    named = {f"temp_c:{name}": value for name, value in walls.items()}
    return Sample(time_s, {**HOT, **named, "fed_mm:1": fed_mm})


def _still(until_s: float, every_s: float = 10.0, **walls: float) -> Iterator[Sample]:
    return (_sample(step * every_s, **walls) for step in range(int(until_s / every_s) + 1))


def _last(events: Iterable[EngineInput], parameters: Parameters | None = None) -> Step:
    *_, step = run(events, machine() if parameters is None else parameters)
    return step


def _raised(events: Iterable[EngineInput], parameters: Parameters | None = None) -> dict[str, float]:
    told: dict[str, float] = {}
    for step in run(events, machine() if parameters is None else parameters):
        for change in step.transitions:
            told.setdefault(f"{change.event} {change.alert.condition} {change.alert.priority.name}", change.time_s)
    return told


def test_a_standing_strand_ages_by_the_arrhenius_rate_of_its_wall() -> None:
    """Four hours at 195 °C: the oldest parcel has the dose of the two-sided Arrhenius law, within 0.5 %."""
    strand = _last(_still(4 * 3600.0)).assessment.strands[0]
    rate = np.exp(cautious_law(machine().strands).log_rate(np.array([[195.0]])))[0, 0]

    assert strand.dose_now_min == pytest.approx(240.0 * rate, rel=5e-3)
    assert strand.activity is Activity.IDLE
    assert strand.idle_s == pytest.approx(4 * 3600.0)


def test_the_warning_comes_before_the_limit() -> None:
    """A strand left standing raises a WARNING first and an ALARM later, and the forecast made before fits both."""
    early = _last(_still(1800.0)).assessment.strands[0]
    warned_s, limit_s = (1800.0 + left.low for left in (early.warn_left_s, early.limit_left_s))
    seen = Request(warned_s + 60.0, RequestKind.ACKNOWLEDGE, "dose/input 1/1", "owner")
    told = _raised(sorted([*_still(12 * 3600.0), seen], key=lambda event: event.time_s))

    assert told["raised dose WARNING"] == pytest.approx(warned_s, abs=15.0)
    assert told["escalated dose ALARM"] == pytest.approx(limit_s, abs=15.0)
    assert early.limit_left_s.high > early.limit_left_s.low


def test_fresh_material_resets_the_dose_and_clears_the_alert() -> None:
    """Feeding the path's length after the warning brings the dose down; the unseen alert returns to normal."""
    aged = list(_still(7 * 3600.0))
    end_s = aged[-1].time_s
    fed = [_sample(end_s + second, fed_mm=float(second)) for second in range(1, 80)]
    step = _last([*aged, *fed])

    assert step.assessment.strands[0].dose_now_min < 1.0
    assert [alert.state for alert in step.assessment.alerts if alert.condition == "dose"] == [AlertState.RETURNED]


def test_a_retraction_and_its_return_do_not_restart_the_idle_clock() -> None:
    """Idle time runs from the high-water mark of feed."""
    events = [_sample(7.0, 0.0), _sample(10.0, 5.0), *(_sample(20.0 + i, 5.0 - 0.8 * (i % 2)) for i in range(600))]

    assert _last(events).assessment.strands[0].idle_s == pytest.approx(609.0)


def test_silence_is_cautious_stale_and_at_last_an_alarm() -> None:
    """In a gap walls count as the hotter of last value and set point, the dose goes on; within 60 s no data is told."""
    start = [_sample(float(second), manifold=150.0) for second in range(60)]
    ticks = [Tick(60.0 + second) for second in range(3600)]
    steps = list(run([*start, *ticks], machine()))
    at = {step.event.time_s: step for step in steps}

    assert at[62.0].assessment.quality is Quality.GOOD
    assert at[70.0].assessment.quality is Quality.STALE
    assert steps[-1].assessment.quality is Quality.BAD
    assert steps[-1].assessment.strands[0].condition is Condition.UNAVAILABLE
    assert steps[-1].assessment.strands[0].merge_wall_c == 195.0
    assert steps[-1].assessment.strands[0].dose_now_min > 20.0
    raised = [change for step in steps for change in step.transitions]
    assert [(change.alert.condition, change.alert.priority) for change in raised] == [("link", Priority.ALARM)]
    assert raised[0].time_s - 59.0 <= 60.0  # told within a minute


def test_a_gap_without_ticks_is_treated_alike() -> None:
    """A machine that slept (no ticks either) is judged by the same cautious rule when data return."""
    start = [_sample(float(second), manifold=150.0) for second in range(60)]
    with_ticks = _last([*start, *(Tick(60.0 + s) for s in range(1200)), _sample(1260.0)])
    without = _last([*start, _sample(1260.0)])

    doses = [step.assessment.strands[0].dose_now_min for step in (with_ticks, without)]
    assert doses[1] == pytest.approx(doses[0], rel=0.01)


def test_feed_counts_even_when_samples_are_rarer_than_stale() -> None:
    """With a sample every 20 s each gap is a silence, and still the strand is renewed by what was fed."""
    events = [_sample(20.0 * step, fed_mm=10.0 * step) for step in range(1000)]

    assert _last(events).assessment.strands[0].dose_now_min < 5.0


def test_cold_feed_is_told_only_while_feeding() -> None:
    """A manifold below the lowest feeding temperature matters to a strand that feeds, not to one that stands."""
    standing = _raised(_sample(float(s), manifold=165.0) for s in range(120))
    feeding = _raised(_sample(float(s), fed_mm=float(s), manifold=165.0) for s in range(120))

    assert standing == {}
    assert "raised cold_feed WARNING" in feeding


def test_turns_of_a_strand_on_a_cold_manifold_are_one_alert() -> None:
    """Feeding and standing by turns, a cold manifold is told once, and is over when the wall is warm enough."""
    cold = [_sample(float(s), fed_mm=float(s - s % 200 + min(s % 200, 100)), manifold=165.0) for s in range(1, 1600)]
    warm = [_sample(1600.0 + s, fed_mm=1600.0 + s, manifold=192.0) for s in range(200)]
    changes = [change for step in run([*cold, *warm], machine()) for change in step.transitions]
    events = [change.event for change in changes if not change.alert.folded_under]

    assert events == ["raised", "escalated", "cleared"]  # nobody has seen it for five minutes


def test_a_warning_that_nobody_sees_becomes_an_alarm() -> None:
    """Half the time to respond after it was raised (IMO MSC.302(87), 6.2.2); what was acknowledged stays a WARNING."""
    cold = [_sample(float(s), fed_mm=float(s), manifold=165.0) for s in range(1, 1200)]
    unseen, seen = _raised(cold), _raised(sorted([*cold, _SEEN], key=lambda event: event.time_s))

    assert unseen["escalated cold_feed ALARM"] - unseen["raised cold_feed WARNING"] == pytest.approx(300.0, abs=5.0)
    assert "escalated cold_feed ALARM" not in seen


def test_strands_with_one_cause_are_one_alert() -> None:
    """A cold side above the glass transition softens all strands alike: one alert that names the others."""
    warm = list(_still(3600.0, every_s=2.0, cold_end=75.0))
    steps = list(run(warm, machine(3)))
    told = [change for step in steps for change in step.transitions if change.event == "raised"]
    (shown,) = steps[-1].assessment.alerts

    assert [change.alert.condition for change in told] == ["softening"] * 3 + ["cooling"]
    assert [bool(change.alert.folded_under) for change in told] == [False, True, True, True]
    assert (shown.subject, shown.also) == ("input 1", ("input 2", "input 3", "cold end"))
    assert "also input 2, input 3, cold end" in shown.text
    assert [strand.condition for strand in steps[-1].assessment.strands] == [Condition.FAULT] * 3


def test_seeing_an_alert_sees_what_is_folded_under_it() -> None:
    """One acknowledgement for one cause."""
    warm = list(_still(600.0, every_s=2.0, cold_end=75.0))
    engine = Engine(machine(3))
    for event in warm:
        step = engine.advance(event)
    seen = engine.advance(Request(601.0, RequestKind.ACKNOWLEDGE, step.assessment.alerts[0].id, "owner"))

    assert [change.event for change in seen.transitions] == ["acknowledged"] * 4
    assert seen.assessment.alerts[0].state is AlertState.ACKNOWLEDGED


@pytest.mark.parametrize(
    ("manifold_c", "expected"),
    [(236.0, "raised ceiling ALARM"), (242.0, "raised liner WARNING"), (251.0, "raised liner ALARM")],
)
def test_hot_walls(manifold_c: float, expected: str) -> None:
    """A wall above the material's ceiling, or a liner above its limits, is told after the on-delay."""
    told = _raised(_sample(float(s), manifold=manifold_c) for s in range(60))

    assert told[expected] >= 10.0


def test_time_above_each_liner_limit_is_kept() -> None:
    """A minute at 255 °C between cool stretches: one minute above warn and alarm, none above stop."""
    walls = [195.0] * 60 + [255.0] * 60 + [195.0] * 60
    events = [_sample(float(s), manifold=wall) for s, wall in enumerate(walls)]
    liner = next(reading for reading in _last(events).assessment.liners if reading.zone == "heat break")

    assert (liner.above_warn_s, liner.above_alarm_s, liner.above_stop_s) == (60.0, 60.0, 0.0)


def test_one_odd_value_alone_raises_no_alarm() -> None:
    """A single hot reading among good ones is bridged by the on-delay."""
    told = _raised(_sample(float(s), manifold=290.0 if s == 30 else 195.0) for s in range(120))

    assert told == {}


def test_long_standing_is_told_whatever_the_model_says() -> None:
    """Backstop: a strand standing hot for the set hours raises a CAUTION (common practice, no source)."""
    parameters = replace(
        machine(material=replace(GREY, warn_min=1e6, limit_min=2e6)), limits=AlertLimits(idle_backstop_h=2.0)
    )
    told = _raised(_still(3 * 3600.0), parameters)

    assert list(told) == ["raised standing CAUTION"]
    assert told["raised standing CAUTION"] == pytest.approx(7200.0, abs=20.0)


def test_a_sensor_that_never_reports_is_named() -> None:
    """A wall the profile relies on but the machine never reports is told, not guessed silently."""
    lame = ({name: value for name, value in _sample(0.0).values.items() if "cold_end" not in name}).items()
    events = [Sample(float(second), dict(lame)) for second in range(120)]
    alert = _last(events).assessment.alerts[0]

    assert (alert.condition, alert.subject) == ("sensor", "sensor cold_end")
    assert "link section" in alert.action


def test_a_manifold_that_never_reports_is_no_cold_manifold() -> None:
    """Nothing is claimed of walls nobody reports: no advice to heat, quality BAD, and the sensor is named."""
    blind = {"temp_c:cold_end": 32.0, "temp_c:nozzle": 225.0}
    events = [Sample(float(s), {**blind, "fed_mm:1": float(s)}) for s in range(200)]
    step = _last(events)

    assert {alert.condition for alert in step.assessment.alerts} == {"sensor"}
    assert step.assessment.quality is Quality.BAD
    assert step.assessment.strands[0].condition is Condition.UNAVAILABLE


def test_a_wall_known_only_by_its_set_point_counts_as_that_hot() -> None:
    """Cautious: with no temperature from the manifold but a set point, the strand ages as at the set point."""
    blind = {"temp_c:cold_end": 32.0, "set_c:manifold": 195.0}
    events = [Sample(10.0 * step, blind) for step in range(361)]

    assert _last(events).assessment.strands[0].dose_now_min > 20.0


def test_one_silent_wall_sensor_makes_the_strands_stale() -> None:
    """Other channels going on do not make a strand's wall fresh."""
    alive = [Sample(20.0 + s, {"temp_c:nozzle": 225.0, "fed_mm:1": 0.0}) for s in range(20)]
    step = _last([*(_sample(float(s)) for s in range(20)), *alive])

    assert step.assessment.quality is Quality.STALE


def test_a_wall_that_falls_silent_clears_nothing() -> None:
    """A cold manifold stays told when its sensor goes silent, though the wall then counts as its warmer set point."""
    cold = [_sample(float(s), fed_mm=float(s), manifold=165.0) for s in range(60)]
    silent = [Sample(60.0 + s, {"temp_c:nozzle": 225.0, "fed_mm:1": 60.0 + s}) for s in range(300)]
    step = _last([*cold, *silent])

    assert {alert.condition for alert in step.assessment.alerts} == {"cold_feed", "sensor"}
    assert all(alert.state is AlertState.UNACKNOWLEDGED for alert in step.assessment.alerts)


def test_acknowledging_is_a_transition_with_an_actor() -> None:
    """The owner's acknowledgement changes the state, is told with his name, and may be repeated without effect."""
    engine, aged = Engine(machine()), list(_still(7 * 3600.0))
    for event in aged:
        step = engine.advance(event)
    seen = Request(aged[-1].time_s + 5.0, RequestKind.ACKNOWLEDGE, step.assessment.alerts[0].id, "owner")
    first, again = engine.advance(seen), engine.advance(seen)

    assert [(change.event, change.actor) for change in first.transitions] == [("acknowledged", "owner")]
    assert first.assessment.alerts[0].state is AlertState.ACKNOWLEDGED
    assert again.transitions == ()


def test_execution_progress_link_and_counts_are_passed_on() -> None:
    """What the machine says of itself reaches the assessment."""
    events: list[Event] = [
        LinkChange(0.0, available=True, reason="port open"),
        Sample(1.0, {**HOT, "progress": 0.25}, Execution.ACTIVE),
        Malformed(1.5, "noise", "???"),
        Sample(2.0, HOT),
    ]
    seen = _last(events).assessment

    assert (seen.execution, seen.progress, seen.link_available) == (Execution.ACTIVE, 0.25, True)
    assert dict(seen.counts) == {"link_changes": 1, "samples": 2, "malformed": 1}


def test_before_the_first_sample_nothing_is_claimed() -> None:
    """No data yet: quality BAD, strands UNAVAILABLE, no dose, and still an assessment."""
    seen = _last([Tick(1.0)]).assessment

    assert (seen.quality, seen.strands[0].condition) == (Quality.BAD, Condition.UNAVAILABLE)
    assert seen.strands[0].dose_now_min == 0.0


def test_split_samples_give_the_same_dose() -> None:
    """Temperatures and feed may come in separate samples, as they do on a serial line."""
    whole = _last(_sample(float(s), fed_mm=0.01 * s) for s in range(1200)).assessment.strands[0]
    split = _last(
        part for s in range(1200) for part in (Sample(float(s), HOT), Sample(s + 0.1, {"fed_mm:1": 0.01 * s}))
    ).assessment.strands[0]

    assert split.dose_now_min == pytest.approx(whole.dose_now_min, rel=2e-3)


def test_advance_is_pure() -> None:
    """The same state and event give the same result, and the old state is not touched."""
    model = build_model(machine())
    state = initial_state(model)
    for second in range(50):
        state, _ = advance(model, state, _sample(float(second), fed_mm=0.3 * second))
    assert state.field is not None
    before = state.field.dose_min.copy()
    one, _ = advance(model, state, _sample(50.0, fed_mm=20.0))
    two, _ = advance(model, state, _sample(50.0, fed_mm=20.0))

    assert one.field is not None
    assert two.field is not None
    assert np.array_equal(one.field.dose_min, two.field.dose_min)
    assert np.array_equal(state.field.dose_min, before)


def test_states_can_be_kept() -> None:
    """A state survives pickling: checkpoints can be written."""
    model = build_model(machine())
    state, _ = advance(model, initial_state(model), _sample(0.0))
    copy = pickle.loads(pickle.dumps(state))  # noqa: S301 -- our own bytes, made a line above

    assert np.array_equal(copy.field.temp_c, state.field.temp_c)  # type: ignore[union-attr]  # a sample came


_VALUES = st.dictionaries(
    st.sampled_from(["temp_c:manifold", "temp_c:cold_end", "set_c:manifold", "fed_mm:1", "fed_mm:9", "progress"]),
    st.floats(-60.0, 400.0),
)
_EVENTS = st.one_of(
    st.builds(Sample, st.floats(0, 4000), _VALUES),
    st.builds(Tick, st.floats(0, 4000)),
    st.builds(LinkChange, st.floats(0, 4000), st.booleans(), st.just("changed")),
    st.builds(Malformed, st.floats(0, 4000), st.just("noise"), st.just("?")),
    st.builds(
        Request,
        st.floats(0, 4000),
        st.sampled_from(RequestKind),
        st.just("dose/input 1/1"),
        st.just("owner"),
        st.just("why"),
        st.just(60.0),
    ),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(_EVENTS, max_size=25))
def test_any_stream_is_survived_and_told_honestly(events: list[EngineInput]) -> None:
    """Times in any order, missing channels, odd values: no error, finite doses, time never backwards."""
    last_s = 0.0
    for step in run(events, machine(2)):
        seen = step.assessment
        assert seen.time_s >= last_s
        last_s = seen.time_s
        for strand in seen.strands:
            assert np.isfinite(strand.dose_min).all()
            assert strand.warn_left_s.low <= strand.warn_left_s.high


def test_samples_without_temperatures_are_no_sign_of_life() -> None:
    """Feed that goes on being reported does not hide that all temperatures have fallen silent; one alert tells it."""
    silent = [Sample(60.0 + second, {"fed_mm:1": 0.0}) for second in range(180)]
    told = _raised([*_still(60.0, every_s=1.0), *silent])

    assert told["raised link ALARM"] == pytest.approx(120.0, abs=6.0)
    assert not any("sensor" in name for name in told)


def test_a_manifold_that_nobody_knows_counts_as_hot() -> None:
    """The backstop for standing strands runs although neither a reading nor a set point of the manifold ever came."""
    blind = [Sample(float(second), {"temp_c:cold_end": 30.0, "fed_mm:1": 0.0}) for second in range(0, 9 * 3600, 4)]

    assert _raised(blind)["raised standing CAUTION"] == pytest.approx(8 * 3600.0, abs=10.0)


def test_before_any_temperature_any_time_may_be_left() -> None:
    """Nothing is known: the cautious end of the time left is none at all, the hopeful one all there is."""
    strand = _last([Sample(0.0, {"fed_mm:1": 0.0})]).assessment.strands[0]

    assert (strand.limit_left_s.low, strand.limit_left_s.high) == (0.0, float("inf"))
    assert strand.quality is Quality.BAD


def test_a_withdrawn_strand_ages_no_more() -> None:
    """Drawn back by its path's 52 mm a strand is out: its alert ends, it counts as withdrawn; fed again it is back."""
    aged = [_sample(float(s), fed_mm=min(60.0, s / 10.0)) for s in range(0, 8 * 3600, 10)]
    end_s = aged[-1].time_s
    out = [_sample(end_s + s, fed_mm=8.0) for s in range(10, 600, 10)]
    again = [_sample(end_s + 600.0 + s, fed_mm=8.0 + s) for s in range(10, 40, 10)]
    steps = list(run([*aged, *out, *again], machine()))
    at = {step.event.time_s: step.assessment for step in steps if step.event.time_s >= end_s}

    assert at[end_s].alerts[0].condition == "dose"
    assert at[end_s + 590.0].strands[0].activity is Activity.WITHDRAWN
    standing = {it.condition for it in at[end_s + 590.0].alerts if it.state is AlertState.UNACKNOWLEDGED}
    assert standing == {"shared"}  # what it left between merge point and nozzle
    assert at[end_s + 630.0].strands[0].activity is not Activity.WITHDRAWN


def test_an_alarm_that_eases_stays_as_urgent_until_it_is_seen() -> None:
    """From ALARM back to the WARNING's level: one 'eased', still told as ALARM, and no second call."""
    hot = [_sample(float(s), manifold=252.0) for s in range(0, 600, 2)]
    less = [_sample(600.0 + s, manifold=245.0) for s in range(0, 1200, 2)]
    liner = [
        (change.event, change.alert.priority)
        for step in run([*hot, *less], machine())
        for change in step.transitions
        if change.alert.condition == "liner" and change.alert.subject == "heat break"
    ]

    assert liner == [("raised", Priority.ALARM), ("eased", Priority.ALARM)]
