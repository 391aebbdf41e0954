"""Advice, applied: to the field, to streams of events, and to the nights of the simulated machine."""

import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from functools import cache
from typing import Final

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import SCENARIOS, Fault, FaultKind, Scenario
from connectors.telemetry import Event, Sample, Tick
from monitor.config import demo_profile
from monitor.core import advice as advising
from monitor.core.advice_types import Advice, AdviceKind
from monitor.core.aged_part import aged_mm, softened_mm, whole_mm
from monitor.core.alert_types import AlertState, AlertTransition, Priority
from monitor.core.assessment import Assessment
from monitor.core.engine import Engine, Step, run
from monitor.core.engine_state import build_model
from monitor.core.field_building import build_field
from monitor.core.keep_moving import NIGHT_S, future_of, moves
from monitor.core.outlook import Limits, look_ahead
from monitor.core.parameters import LinerLimits, Parameters, Strand
from monitor.core.set_point import walls_at
from tests.machines import GREY, machine

HOUR_S: Final = 3600.0
DIAMETER_MM: Final = 1.75
FIELD: Final = build_field(machine())
WALLS: Final = np.array([25.0, 32.0, 195.0, 225.0])
HOT: Final = {"temp_c:cold_end": 32.0, "temp_c:manifold": 195.0, "temp_c:nozzle": 225.0, "set_c:manifold": 195.0}


def _sample(time_s: float, fed_mm: float = 0.0, **walls: float) -> Sample:
    named = {f"temp_c:{name}": value for name, value in walls.items()}
    return Sample(time_s, {**HOT, **named, "fed_mm:1": fed_mm})


def _still(from_s: float, until_s: float, fed_mm: float = 0.0, **walls: float) -> Iterator[Sample]:
    return (_sample(float(time_s), fed_mm, **walls) for time_s in np.arange(from_s, until_s, 4.0))


def _last(events: Iterable[Event], parameters: Parameters | None = None) -> Assessment:
    *_, step = run(events, machine() if parameters is None else parameters)
    return step.assessment


@cache
def _stood() -> Assessment:
    """After eight hours of standing: past its warn dose, not yet its limit."""
    return _last(_still(0.0, 8 * HOUR_S))


def _piece(assessment: Assessment, kind: AdviceKind, number: int | None = 1) -> Advice:
    (piece,) = [piece for piece in assessment.advice if piece.kind is kind and piece.input == number]
    return piece


def _until_dose_alert(engine: Engine, events: Iterable[Event]) -> tuple[Step, list[Event]]:
    """The step that raises it, and the events after."""
    left = iter(events)
    for event in left:
        step = engine.advance(event)
        if any(change.alert.condition == "dose" for change in step.transitions):
            return step, list(left)
    raise AssertionError("no dose alert")


def _night(**changes: object) -> Scenario:
    return replace(SCENARIOS["left-idle"], **changes)  # type: ignore[arg-type]  # fields by name


def _with_feed(events: Iterable[Event], number: int, fed_mm: float, from_s: float) -> Iterator[Event]:
    """The same events with so much more of one input fed from then on, at 1 mm/s."""
    for event in events:
        if isinstance(event, Sample) and f"fed_mm:{number}" in event.values:
            more_mm = min(fed_mm, max(0.0, event.time_s - from_s))
            both = (f"fed_mm:{number}", f"sensed_mm:{number}")  # the encoder sees it arrive
            moved = {name: event.values[name] + more_mm for name in both if name in event.values}
            yield replace(event, values={**event.values, **moved})
        else:
            yield event


# ---- advance


@settings(max_examples=40, deadline=None)
@given(
    hours=st.floats(0.5, 12.0),
    fed_mm=st.floats(0.0, 3.0),
    back_mm=st.floats(0.0, 80.0),
    share=st.floats(0.2, 0.9),
)
def test_advanced_so_far_nothing_aged_is_left_and_nothing_more_is_fed(
    hours: float, fed_mm: float, back_mm: float, share: float
) -> None:
    """Whatever stood for how long and was then drawn back: fed as advised, no dose above it; a parcel less, some."""
    state = FIELD.advance(FIELD.initial(WALLS), 1.0, WALLS, [fed_mm])
    state = FIELD.advance(state, hours * HOUR_S, WALLS, [0.0])
    above_min = share * FIELD.oldest_min(state)[0]
    state = FIELD.skipped(state, [-back_mm])
    length_mm = aged_mm(FIELD, state, 0, above_min)
    upstream = state.dose_min[0, FIELD.passed :]

    assert upstream.max() > above_min
    assert FIELD.skipped(state, [length_mm + 1e-6]).dose_min[0, FIELD.passed :].max() <= above_min
    assert FIELD.skipped(state, [length_mm - FIELD.grid.cell_mm - 1e-6]).dose_min[0, FIELD.passed :].max() > above_min


def test_the_dose_alert_is_over_once_the_strand_has_advanced_as_advised() -> None:
    """A night of the simulated machine: input 4 stands until it calls; fed as advised, the alert ends, the dose is low.

    Low: below half the warn dose, as the advice says. Had it not been fed, it would have gone on to its limit.
    """
    engine, told = Engine(demo_profile().parameters), []
    step, rest = _until_dose_alert(engine, simulate(_night(), period_s=4.0, duration_s=5.0 * HOUR_S))
    advance = _piece(step.assessment, AdviceKind.ADVANCE, 4)
    fed_mm = advance.figure("length_mm") + advance.figure("purge_mm")
    for event in _with_feed(rest, 4, fed_mm, step.event.time_s + 60.0):
        step = engine.advance(event)
        told += [(change.alert.condition, change.event) for change in step.transitions]
    strand = step.assessment.strands[3]

    assert sorted(told) == [("dose", "cleared")]
    assert {alert.state for alert in step.assessment.alerts} <= {AlertState.RETURNED}
    assert strand.dose_now_min < strand.dose_warn_min / 2
    assert advance.lines[1] == f"G1 E{advance.figure('length_mm'):.0f} F60"
    assert advance.figure("length_mm") <= 18.0  # the manifold is 16 mm long, cooler beyond


def test_what_is_past_its_limit_counts_by_itself() -> None:
    """Past the limit less strand must go than past half the warn dose, and it goes before its next use."""
    assessment = _last(_still(0.0, 12 * HOUR_S))
    advance = _piece(assessment, AdviceKind.ADVANCE)
    (alert,) = [alert for alert in assessment.alerts if alert.condition == "dose"]

    assert 0.0 < advance.figure("over_limit_mm") <= advance.figure("length_mm")
    assert f"by {advance.figure('length_mm'):.0f} mm before its next use" in alert.action
    assert "past its limit" in _piece(assessment, AdviceKind.PAUSE, None).text


def test_what_has_stood_soft_is_brought_past_the_merge_point() -> None:
    """An hour with the cold end 20 K over the glass transition, then cooled: fed as told, nothing softened is left."""
    soft, cool = np.array([25.0, 80.0, 195.0, 225.0]), WALLS
    state = FIELD.advance(FIELD.advance(FIELD.initial(WALLS), HOUR_S, soft, [0.0]), 60.0, cool, [0.0])
    length_mm = softened_mm(FIELD, state, 0, 5.0)
    after = FIELD.skipped(state, [whole_mm(length_mm)])

    assert FIELD.softest_min(state)[0] > 5.0
    assert FIELD.stiff.first * FIELD.grid.cell_mm < length_mm
    assert FIELD.softest_min(after)[0] <= 5.0
    assert after.soft_min is not None
    assert after.soft_min[0, FIELD.passed :].max() <= 5.0


# ---- withdraw


def test_a_soft_tip_is_withdrawn_to_be_cut() -> None:
    """With a tip above its melting temperature: by the path's length, no further; what was hot is to be cut off."""
    assessment = _stood()
    back = _piece(assessment, AdviceKind.WITHDRAW)

    assert back.is_advised
    assert back.figure("length_mm") == 52.0  # of the test bench
    assert back.figure("out_of_heat_mm") < back.figure("length_mm")
    assert back.figure("cut_mm") >= assessment.strands[0].soft_front_mm
    assert "cut off" in back.text
    assert back.lines[1] == "G1 E-52 F300"


def test_withdrawn_so_far_the_aged_part_ages_no_more() -> None:
    """Drawn back out of the path, its dose stays as it is for eight hours."""
    state = FIELD.advance(FIELD.initial(WALLS), 7 * HOUR_S, WALLS, [0.0])
    oldest_min = FIELD.oldest_min(state)[0]
    state = FIELD.skipped(state, [-52.0])
    after = FIELD.advance(state, 8 * HOUR_S, WALLS, [0.0])
    beyond = FIELD.passed + FIELD.grid.cells

    assert after.dose_min[0, beyond:].max() == pytest.approx(oldest_min)


@pytest.mark.parametrize(
    ("walls", "word"),
    [({"cold_end": 75.0}, "Do not withdraw input 1 before the cold end is below 60 °C"), ({"manifold": 160.0}, "set")],
)
def test_a_strand_that_would_neck_or_has_set_is_not_withdrawn(walls: dict[str, float], word: str) -> None:
    """Soft where it must be stiff, or set at the tip: advised against, without a line to type."""
    aged = [*_still(0.0, 8 * HOUR_S), *_still(8 * HOUR_S, 8 * HOUR_S + 600.0, **walls)]
    back = _piece(_last(aged), AdviceKind.WITHDRAW)

    assert not back.is_advised
    assert word in f"{back.text} {back.reason}"
    assert back.lines == ()


# ---- set point


def test_the_lower_set_point_buys_the_time_it_promises() -> None:
    """The simulated machine set 5 K lower when input 4 calls, as advised: its limit comes when promised, within 5 %.

    The machine cools by its own physics, its sensors are noisy, and the limit is judged by the whole engine.
    """
    parameters = demo_profile().parameters
    step, _ = _until_dose_alert(Engine(parameters), simulate(_night(), period_s=4.0, duration_s=5.0 * HOUR_S))
    called_s = step.event.time_s
    point = _piece(step.assessment, AdviceKind.SET_POINT, None)
    assert (point.figure("set_c"), point.figure("now_c")) == (190.0, 195.0)
    lower = Fault(FaultKind.COLD_MANIFOLD, onset_s=called_s, severity=5.0 / 25.0)
    passed_s = {}
    for name, night in (("as it was", _night()), ("lower", _night(fault=lower))):
        for after in run(simulate(night, period_s=4.0, duration_s=8.0 * HOUR_S), parameters):
            for change in after.transitions:
                if change.alert.subject == "input 4" and change.alert.limit == 285.0 and change.event == "escalated":
                    passed_s[name] = after.event.time_s - called_s

    assert passed_s["as it was"] == pytest.approx(point.figure("left_s"), rel=0.02)
    assert passed_s["lower"] == pytest.approx(point.figure("then_left_s"), rel=0.05)
    assert passed_s["lower"] > 1.2 * passed_s["as it was"]


def _bench(*min_feed_c: float, ceiling_c: float = 235.0) -> Parameters:
    """A bench whose strands differ in their lowest feeding temperature, the last one in its ceiling."""
    materials = [replace(GREY, min_feed_c=least_c, min_feed_is_rule=False) for least_c in min_feed_c]
    materials[-1] = replace(materials[-1], ceiling_c=ceiling_c)
    strands = tuple(Strand(number, material, dried=True) for number, material in enumerate(materials, start=1))
    return replace(machine(), strands=strands)


def _turns(until_s: float) -> Iterator[Sample]:
    """Input 1 feeds all the time, input 2 did for the first minute, input 3 stands; input 4 too."""
    for time_s in np.arange(0.0, until_s, 10.0):
        fed_mm = {"fed_mm:2": min(time_s, 60.0), "fed_mm:3": 0.0, "fed_mm:4": 0.0}
        yield Sample(float(time_s), {**HOT, "fed_mm:1": float(time_s), **fed_mm})


def test_the_set_point_serves_what_fed_within_the_hour_and_names_what_all_would_need() -> None:
    """Input 1 feeds, the others stood for hours: its lowest feeding temperature and the margin; all need more."""
    assessment = _last(_turns(8 * HOUR_S), _bench(175.0, 182.0, 190.0, 178.0))
    point = _piece(assessment, AdviceKind.SET_POINT, None)

    assert (point.figure("set_c"), point.figure("all_c")) == (177.0, 192.0)
    assert point.is_advised
    assert point.figure("then_left_s") > point.figure("left_s")
    assert point.lines == ()  # no open standard has a word for it
    assert "strandwatch never sends it" in point.lines_note


@pytest.mark.parametrize(
    ("parameters", "word"),
    [
        (_bench(196.0, 182.0, 180.0, 178.0, ceiling_c=197.0), "input 4 bears no more than 197 °C"),
        (
            replace(_bench(196.0, 182.0, 180.0, 178.0), liners={"PTFE": LinerLimits(190, 210, 240)}),
            "liner in heat break",
        ),
    ],
)
def test_no_set_point_above_a_ceiling_or_a_liners_limit(parameters: Parameters, word: str) -> None:
    """What one strand needs another or the liner does not bear: nothing is advised, and it says which."""
    point = _piece(_last(_turns(8 * HOUR_S), parameters), AdviceKind.SET_POINT, None)

    assert not point.is_advised
    assert word in point.text


def test_only_the_merge_points_sensors_are_lowered() -> None:
    """The wall vector at a set point differs in the manifold alone."""
    model = build_model(machine())
    state = model.field.initial(WALLS)

    assert walls_at(model, state, 180.0).tolist() == [25.0, 32.0, 180.0, 225.0]


# ---- keep moving


@pytest.mark.parametrize("manifold_c", [195.0, 205.0, 215.0])
def test_kept_moving_as_planned_nothing_calls_for_a_night(manifold_c: float) -> None:
    """Stood until its dose alert, then moved as planned while another strand builds: no alert for 8 h, a low dose.

    Low: below half the warn dose. Left standing after the first move it would pass that half, so the moves are needed.
    """

    def sample(time_s: float, moved_mm: float) -> Sample:
        values = {"fed_mm:1": moved_mm, "fed_mm:2": time_s, "temp_c:manifold": manifold_c}
        return Sample(time_s, {**HOT, **values})

    engine = Engine(machine(2))
    step, _ = _until_dose_alert(engine, (sample(float(time_s), 0.0) for time_s in range(0, 30_000, 4)))
    plan = _piece(step.assessment, AdviceKind.KEEP_MOVING)
    first_mm, length_mm, interval_s = (plan.figure(name) for name in ("first_mm", "length_mm", "interval_s"))
    began_s, told, doses_min = step.event.time_s, [], []
    for after_s in np.arange(4.0, 8 * HOUR_S, 4.0):
        fed_mm = min(first_mm, after_s) + length_mm * (max(0.0, after_s - first_mm) // interval_s)
        step = engine.advance(sample(began_s + after_s, fed_mm))
        told += [(change.alert.condition, change.event, after_s < 60.0) for change in step.transitions]
        if after_s % 600.0 == 0.0:
            doses_min.append(step.assessment.strands[0].dose_now_min)
    standing = _last(_still(0.0, 8 * HOUR_S, manifold=manifold_c)).strands[0]

    assert sorted(told) == [("dose", "cleared", True)]
    assert max(doses_min) < GREY.warn_min / 2 < standing.dose_now_min
    assert step.assessment.advice == ()


@settings(max_examples=12, deadline=None)
@given(manifold_c=st.floats(180.0, 228.0), cold_c=st.floats(25.0, 55.0), hours=st.floats(0.1, 6.0))
def test_a_plan_holds_whenever_there_is_one(manifold_c: float, cold_c: float, hours: float) -> None:
    """At any walls and after any time of standing: under the plan the field stays below half the warn dose for 8 h."""
    walls = np.array([25.0, cold_c, manifold_c, 225.0])
    state = FIELD.advance(FIELD.initial(walls), hours * HOUR_S, walls, [0.0])
    plan = moves(FIELD, state, 0, DIAMETER_MM)
    if plan is None:
        assert manifold_c > 220.0
        return
    state = FIELD.skipped(state, [plan.first_mm])
    future = list(future_of(0.0, plan.interval_s, plan.length_mm, state))
    (outlook,) = look_ahead(FIELD, state, future, [Limits(GREY.warn_min / 2, math.inf, math.inf, math.inf)])

    assert math.isinf(outlook.warn_s)


def test_the_grams_are_those_of_the_strand() -> None:
    """Length per hour, cross-section and density: by hand."""
    state = FIELD.advance(FIELD.initial(WALLS), 5 * HOUR_S, WALLS, [0.0])
    plan = moves(FIELD, state, 0, DIAMETER_MM)

    assert plan is not None
    mm_per_h = plan.length_mm * HOUR_S / plan.interval_s
    assert plan.grams_per_h == pytest.approx(mm_per_h * 2.405e-3 * 1.25, rel=1e-3)  # 2.405 mm² of 1.25 g/cm³
    assert NIGHT_S == 8 * HOUR_S


# ---- pause


def test_a_pause_costs_what_feeding_spares() -> None:
    """Two strands, one feeding: going on only the idle one has a limit ahead; paused, the first limit comes as told.

    The strand that has fed is the more delicate one here, so a pause brings its limit first.
    """
    delicate = replace(GREY, warn_min=20.0, limit_min=30.0, limit_high_min=60.0)
    parameters = replace(machine(2), strands=(Strand(1, delicate, dried=True), Strand(2, GREY, dried=True)))

    def samples(from_s: float, until_s: float, *, paused: bool) -> Iterator[Sample]:
        for time_s in np.arange(from_s, until_s, 4.0):
            fed_mm = from_s if paused else float(time_s)
            yield Sample(float(time_s), {**HOT, "fed_mm:1": fed_mm, "fed_mm:2": 0.0})

    engine = Engine(parameters)
    step, _ = _until_dose_alert(engine, samples(0.0, 9 * HOUR_S, paused=False))
    now_s, pause = step.event.time_s, _piece(step.assessment, AdviceKind.PAUSE, None)
    passed_s = math.inf
    for event in samples(now_s + 4.0, now_s + 2 * HOUR_S, paused=True):
        after = engine.advance(event)
        limits = [change.alert.limit for change in after.transitions if change.alert.input == 1]
        passed_s = min(passed_s, event.time_s - now_s) if 30.0 in limits else passed_s

    assert not pause.is_advised
    assert "input 1 reaches its limit" in pause.text
    assert pause.figure("going_s") > pause.figure("standing_s")
    assert passed_s == pytest.approx(pause.figure("standing_s"), rel=0.02)


def test_a_pause_costs_nothing_where_the_worst_strand_stands_anyway() -> None:
    """Everything stands already: the same time either way, and the melt before the nozzle is what a pause spoils."""
    pause = _piece(_last(_still(0.0, 7.5 * HOUR_S)), AdviceKind.PAUSE, None)

    assert pause.is_advised
    assert pause.figure("standing_s") == pytest.approx(pause.figure("going_s"))


# ---- all of it


def test_a_healthy_look_reckons_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Before anything is near its warn dose no advice is reckoned, let alone given."""

    def never(*_: object) -> None:
        raise AssertionError("reckoned")

    for name in ("lowest_set_point", "pause_cost", "moves", "withdrawal", "aged_mm"):
        monkeypatch.setattr(advising, name, never)
    assert _last(_still(0.0, HOUR_S)).advice == ()


def test_advice_comes_an_hour_before_the_warning() -> None:
    """While the warn dose is further than an hour away there is none, within the hour there is."""
    there = {}
    for step in run(_still(0.0, 7 * HOUR_S), machine()):
        if step.event.time_s % 300.0 == 0.0:
            there[step.assessment.strands[0].warn_left_s.low <= HOUR_S] = bool(step.assessment.advice)

    assert there == {False: False, True: True}


def test_without_data_nothing_rests_on_guessed_walls() -> None:
    """Once the machine is lost only lengths are advised: no set point, plan or pause."""
    assessment = _last([*_still(0.0, 8 * HOUR_S), *(Tick(8 * HOUR_S + second) for second in range(0, 600, 10))])

    assert {piece.kind for piece in assessment.advice} == {AdviceKind.ADVANCE, AdviceKind.WITHDRAW}


def test_a_cold_machine_is_heated_for_the_aged_strand_alone() -> None:
    """Switched off with an aged strand in it: to be heated before anything moves, and no set point or pause is told."""
    cold = (_sample(8 * HOUR_S + second, manifold=40.0, nozzle=40.0) for second in range(0, 600, 4))
    assessment = _last([*_still(0.0, 8 * HOUR_S), *cold])

    assert [piece.kind for piece in assessment.advice] == [AdviceKind.ADVANCE, AdviceKind.WITHDRAW]
    assert "Heat the manifold to 180 °C; then advance" in _piece(assessment, AdviceKind.ADVANCE).text
    assert "Its tip is at 40 °C and has set" in _piece(assessment, AdviceKind.WITHDRAW).reason
    (alert,) = [alert for alert in assessment.alerts if alert.condition == "dose"]
    assert alert.action.startswith("Before its next use heat the manifold to 180 °C, then advance input 1 by")
    assert "; or withdraw it" in alert.action


def test_every_piece_has_its_reason_numbers_and_caution_and_plain_blocks() -> None:
    """Blocks are words of a letter and a number, G, F and the feed axis alone; each comes with the note to type it."""
    assessment = _stood()

    assert [piece.kind for piece in assessment.advice] == [
        AdviceKind.ADVANCE,
        AdviceKind.WITHDRAW,
        AdviceKind.KEEP_MOVING,
        AdviceKind.SET_POINT,
        AdviceKind.PAUSE,
    ]
    for piece in assessment.advice:
        assert all((piece.text, piece.reason, piece.caution, piece.figures))
        assert all(re.fullmatch(r"G90|G91|G1 E-?\d+(\.\d+)? F\d+", line) for line in piece.lines)
        assert not piece.lines or "Type it yourself" in piece.lines_note
        assert not piece.lines or "hot parts" in piece.caution.lower()
        assert all(re.search(r"_(mm|min|s|c|k|g|per_min|per_h)$", name) for name, _ in piece.figures)


def test_the_alerts_tell_the_same_lengths() -> None:
    """The sentence of a dose alert holds the advised lengths, in words that fit three lines of the screen."""
    assessment = _stood()
    (alert,) = [alert for alert in assessment.alerts if alert.condition == "dose"]
    advance, back = (_piece(assessment, kind) for kind in (AdviceKind.ADVANCE, AdviceKind.WITHDRAW))

    assert f"Advance input 1 by {advance.figure('length_mm'):.0f} mm" in alert.action
    assert f"withdraw it {back.figure('length_mm'):.0f} mm and cut off {back.figure('cut_mm'):.0f} mm" in alert.action
    assert len(alert.action) < 3 * 75


def test_a_warm_cold_end_is_cooled_before_anything_moves() -> None:
    """Soft where it must be stiff: cool, lower the manifold as far as it may be, then advance; no plan of moves."""
    warm = [*_still(0.0, 6 * HOUR_S), *_still(6 * HOUR_S, 7 * HOUR_S, cold_end=82.0)]
    assessment = _last(warm)
    (alert,) = [alert for alert in assessment.alerts if alert.condition == "softening"]
    length_mm = _piece(assessment, AdviceKind.ADVANCE).figure("length_mm")

    assert "Cool the cold end below 60 °C" in alert.action
    assert "and lower the manifold to 182 °C; then" in alert.action
    assert f"advance input 1 by {length_mm:.0f} mm slowly" in alert.action
    assert AdviceKind.KEEP_MOVING not in {piece.kind for piece in assessment.advice}


def test_a_fading_radiator_wakes_once_and_mended_when_told_is_no_danger() -> None:
    """The simulated night of the fading radiator: one ALARM, with the instruction that helps, and in time.

    Left alone, strand after strand softens, all folded under the one alert; its story tells the night. With the
    radiator mended a quarter of an hour after the ALARM, nothing softens and nothing is left to do.
    """
    parameters, night = demo_profile().parameters, SCENARIOS["fading-radiator"]
    left = [
        change
        for step in run(simulate(night, period_s=4.0, duration_s=7.0 * HOUR_S), parameters)
        for change in step.transitions
    ]
    (alarm,) = (change for change in left if change.calls and change.alert.priority is Priority.ALARM)
    softened = {change.alert.subject for change in left if change.alert.condition == "softening"}

    assert "Look at coolant, pump, radiator and fan" in alarm.alert.action
    assert [(moment.event, moment.priority.name) for moment in alarm.alert.story] == [
        ("raised", "WARNING"),
        ("escalated", "ALARM"),
    ]
    assert len(softened) > 1

    assert night.fault is not None
    mended = replace(night, fault=replace(night.fault, until_s=alarm.time_s + 900.0))
    after: list[AlertTransition] = []
    for step in run(simulate(mended, period_s=4.0, duration_s=9.0 * HOUR_S), parameters):
        after += [change for change in step.transitions if not change.is_by_design]
    assert {change.alert.condition for change in after} == {"cooling"}
    assert after[-1].event == "cleared"
    assert all(alert.state is AlertState.RETURNED for alert in step.assessment.alerts)
    assert step.assessment.advice == ()
