"""A cold end without a sensor: one lump of metal, against a published example and by hand, alone and in the engine."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import SCENARIOS
from connectors.telemetry import Event, Sample, Tick
from monitor.config import demo_profile
from monitor.core.assessment import Assessment, Quality, WallReading
from monitor.core.cold_end import ColdEndLaw, cold_end_law
from monitor.core.engine import Engine, run
from monitor.core.parameters import ColdEnd, Parameters, WallLaw
from monitor.core.propagator import lattice
from tests.machines import AMBIENT_C, ZONES, machine

LUMP = ColdEnd(heat_capacity_j_k=270.0, from_manifold_w_k=0.15, to_coolant_w_k=1.5, coolant_c=25.0)
BALANCE_C = (0.15 * 195.0 + 1.5 * 25.0) / 1.65  # 40.45 °C
TIME_CONSTANT_S = 270.0 / 1.65  # 164 s
HOT = {"temp_c:manifold": 195.0, "temp_c:nozzle": 225.0, "set_c:manifold": 195.0}


def _alone(lump: ColdEnd) -> ColdEndLaw:
    """The lump without any strand in it."""
    return ColdEndLaw(lump, 0, np.zeros((1, 1)))


def _estimated(lump: ColdEnd = LUMP, strands: int = 1) -> Parameters:
    """The machine of the tests, its cold end estimated under the name of its sensor."""
    return replace(machine(strands), zones=(replace(ZONES[0], law=WallLaw.ESTIMATED), *ZONES[1:]), cold_end=lump)


def _hot(until_s: float, *, from_s: float = 0.0, feed_mm_s: float = 0.0, **more: float) -> Iterator[Sample]:
    """Samples every 2 s of a hot machine whose one strand feeds evenly; `more` are further walls."""
    walls = {**HOT, **{f"temp_c:{name}": temp_c for name, temp_c in more.items()}}
    seconds = np.arange(from_s, until_s + 1.0, 2.0).tolist()
    return (Sample(second, {**walls, "fed_mm:1": feed_mm_s * second}) for second in seconds)


def _last(events: Iterable[Event], parameters: Parameters) -> Assessment:
    *_, step = run(events, parameters)
    return step.assessment


def _cold_end(seen: Assessment) -> WallReading:
    return next(wall for wall in seen.walls if wall.sensor == "cold_end")


def _cold_end_c(seen: Assessment) -> float:
    temp_c = _cold_end(seen).temp_c
    assert temp_c is not None
    return temp_c


def test_a_lump_cools_as_holmans_steel_ball() -> None:
    """Holman, Heat Transfer, Ex. 4-1: a steel ball of 50 mm in air of 100 °C falls from 450 to 150 °C in 5819 s.

    Density 7800 kg/m³, 460 J/(kg K), 10 W/(m² K). Both neighbours are the air here, each with a part of the surface.
    """
    area_w_k = 10.0 * math.pi * 0.05**2
    ball = _alone(ColdEnd(7800.0 * 460.0 * math.pi / 6 * 0.05**3, 0.3 * area_w_k, 0.7 * area_w_k, 100.0))

    assert ball.after_c(450.0, 100.0, 0.0, 5817.0) > 150.0
    assert ball.after_c(450.0, 100.0, 0.0, 5820.0) < 150.0


def test_it_settles_where_its_heat_flows_are_in_balance() -> None:
    """By hand: 0.15 W/K from 195 °C and 1.5 W/K to 25 °C meet at 40.45 °C; 3.3 W from strands add 2 K."""
    law = _alone(LUMP)

    assert law.balance_c(195.0) == pytest.approx(40.4545, abs=1e-3)
    assert law.balance_c(195.0, 3.3) - law.balance_c(195.0) == pytest.approx(2.0)
    assert law.after_c(90.0, 195.0, 0.0, 1e6) == pytest.approx(law.balance_c(195.0))
    assert law.after_c(law.balance_c(195.0), 195.0, 0.0, 50.0) == pytest.approx(law.balance_c(195.0))


@given(st.floats(0, 120), st.floats(20, 300), st.floats(-5, 5), st.floats(0, 5e3), st.floats(0, 5e3))
def test_splitting_time_changes_nothing(
    before_c: float, manifold_c: float, strands_w: float, first_s: float, second_s: float
) -> None:
    """The solution is exact for constant neighbours: one long step is two short ones, and it never overshoots."""
    law = _alone(LUMP)
    halfway_c = law.after_c(before_c, manifold_c, strands_w, first_s)
    whole_c = law.after_c(before_c, manifold_c, strands_w, first_s + second_s)
    target_c = law.balance_c(manifold_c, strands_w)

    assert law.after_c(halfway_c, manifold_c, strands_w, second_s) == pytest.approx(whole_c, abs=1e-9)
    assert abs(whole_c - target_c) <= abs(before_c - target_c) + 1e-9


def test_a_strand_heats_it_through_the_stated_resistances() -> None:
    """A strand 10 K hotter than 22 mm of cold end gives it 0.146 W.

    By hand, in m K/W: 0.423 inside the strand, 0.644 of air, 0.441 of liner; 22 mm / 1.508 m K/W · 10 K. The lattice
    may count one parcel of its 29 too many or too few.
    """
    parameters = _estimated(strands=2)
    law = cold_end_law(parameters, lattice(parameters))
    assert law is not None
    temp_c = np.full((2, law.exchange_w_k.shape[1]), 50.0)
    temp_c[0] = 60.0

    assert law.strands_w(temp_c, 50.0) == pytest.approx(0.1459, rel=0.035)
    assert law.strands_w(np.full_like(temp_c, 40.0), 50.0) == pytest.approx(-0.2918, rel=0.035)


def test_it_starts_in_balance_and_is_marked() -> None:
    """With a manifold found hot the estimate is where it would settle, at once, and says that it is one."""
    wall = _cold_end(_last(_hot(0.0), _estimated()))

    assert (wall.is_estimate, wall.quality) == (True, Quality.GOOD)
    assert wall.temp_c == pytest.approx(BALANCE_C, abs=0.01)


def test_it_starts_in_balance_also_when_the_manifold_reports_last() -> None:
    """On a serial line each sensor may have its own line: until the manifold's comes nothing is estimated."""
    apart = [Sample(0.0, {"temp_c:nozzle": 225.0}), Sample(0.5, HOT), *_hot(8.0, from_s=2.0)]

    assert _cold_end_c(_last(apart, _estimated())) == pytest.approx(BALANCE_C, abs=0.05)


def test_a_machine_switched_on_warms_its_cold_end() -> None:
    """From cold: after one time constant of a hot manifold it is 63 % of the way up, with a step's lag."""
    cold = [
        Sample(float(second), {"temp_c:manifold": AMBIENT_C, "temp_c:nozzle": AMBIENT_C}) for second in range(0, 61, 2)
    ]
    seen = _last([*cold, *_hot(60.0 + TIME_CONSTANT_S, from_s=62.0)], _estimated())

    assert _cold_end_c(seen) == pytest.approx(25.0 + (1 - math.exp(-1)) * (BALANCE_C - 25.0), abs=0.4)


def test_a_reading_corrects_it_and_it_goes_on_from_there() -> None:
    """A sensor's 60 °C count while they come; afterwards the lump falls from 60, by e in one time constant."""
    parameters = _estimated()
    with_sensor = [*_hot(60.0), *_hot(120.0, from_s=62.0, cold_end=60.0)]
    told = _cold_end(_last(with_sensor, parameters))
    later = _cold_end(_last([*with_sensor, *_hot(120.0 + TIME_CONSTANT_S, from_s=122.0)], parameters))

    assert (told.temp_c, told.is_estimate) == (60.0, False)
    assert later.is_estimate
    # for the first 5 s and a step the last reading stands
    assert later.temp_c == pytest.approx(BALANCE_C + (60.0 - BALANCE_C) / math.e, abs=0.6)


def test_without_its_sensor_nothing_is_stale_and_nobody_is_called() -> None:
    """Two hours without a reading of the cold end: data are GOOD, and no alert of a silent sensor."""
    *steps, last = run(_hot(7200.0), _estimated())

    assert last.assessment.quality is Quality.GOOD
    assert [change.alert.condition for step in (*steps, last) for change in step.transitions] == []


def test_a_measured_sensor_is_still_missed() -> None:
    """The nozzle's sensor falls silent for longer than the limit: that calls, estimate or not."""
    silent = (Sample(second, {"temp_c:manifold": 195.0}) for second in np.arange(2.0, 120.0, 2.0).tolist())
    told = [
        change.alert.subject
        for step in run([*_hot(0.0), *silent], _estimated())
        for change in step.transitions
        if change.alert.condition == "sensor"
    ]

    assert told == ["sensor nozzle"]


def test_a_hot_estimate_calls_as_a_hot_sensor_would() -> None:
    """A cold end as well joined to the manifold as to its coolant stands at 110 °C: strands are soft in it."""
    feeble = replace(LUMP, from_manifold_w_k=1.5)
    told = {change.alert.condition for step in run(_hot(120.0), _estimated(feeble)) for change in step.transitions}

    assert told == {"softening"}


def test_in_a_silence_it_goes_on_towards_the_set_point() -> None:
    """No data for an hour: the manifold counts as at its set point of 230 °C, and the estimate follows it."""
    hotter = Sample(2.0, {**HOT, "set_c:manifold": 230.0})
    seen = _last([*_hot(0.0), hotter, Tick(3600.0)], _estimated())

    assert _cold_end_c(seen) == pytest.approx((0.15 * 230.0 + 1.5 * 25.0) / 1.65, abs=0.05)
    assert _cold_end(seen).is_estimate


def test_the_heat_that_a_feeding_strand_takes_along_is_missing_from_it() -> None:
    """Energy balance: what the lump gets and gives adds up to what warms the strand on its way through, within 5 %.

    Conductances are small here, so that one strand at 2 mm/s counts: it cools the lump by kelvins.
    """
    lump = ColdEnd(heat_capacity_j_k=5.0, from_manifold_w_k=0.02, to_coolant_w_k=0.06, coolant_c=30.0)
    parameters = _estimated(lump)
    standing = _cold_end_c(_last(_hot(1200.0), parameters))
    seen = _last(_hot(1200.0, feed_mm_s=2.0), parameters)
    cold_end_c, (strand,) = _cold_end_c(seen), seen.strands
    area_mm2 = math.pi * 1.75**2 / 4
    stored_j_mm_k = strand_j_mm3_k(parameters) * area_mm2
    at_outlet_c = float(np.interp(30.0, strand.x_mm, strand.temp_c))
    lump_w = 0.02 * (195.0 - cold_end_c) + 0.06 * (30.0 - cold_end_c)

    assert standing - cold_end_c > 2.0
    assert lump_w == pytest.approx(stored_j_mm_k * 2.0 * (at_outlet_c - AMBIENT_C), rel=0.05)


def strand_j_mm3_k(parameters: Parameters) -> float:
    """Heat that a cubic millimetre of the first strand stores per kelvin."""
    material = parameters.strands[0].material
    return material.density_kg_m3 * material.heat_capacity_j_kg_k * 1e-9


def _night(scenario: str) -> Iterator[tuple[float, float, float]]:
    """Time, estimate and what the sensor said that the engine did not hear, in the simulated machine's night.

    The lump has the simulated metal's capacity and the breaks' conductance; that to the coolant comes from one reading
    of 35.4 °C, settled, in a room of 25 °C, as an owner would find it.
    """
    parameters = demo_profile().parameters
    zones = tuple(
        replace(zone, law=WallLaw.ESTIMATED) if zone.sensor == "cold_end" else zone for zone in parameters.zones
    )
    lump = ColdEnd(60.0, 0.07, 0.07 * (195.0 - 35.4) / (35.4 - 25.0), 25.0)
    engine = Engine(replace(parameters, zones=zones, cold_end=lump))
    for event in simulate(SCENARIOS[scenario], period_s=10.0):
        if isinstance(event, Sample) and "temp_c:cold_end" in event.values:
            heard = {name: value for name, value in event.values.items() if name != "temp_c:cold_end"}
            step = engine.advance(replace(event, values=heard))
            if round(event.time_s) % 100 == 0:
                yield event.time_s, _cold_end_c(step.assessment), event.values["temp_c:cold_end"]


def test_it_keeps_to_an_independent_simulation() -> None:
    """Over the simulated night, whose physics is another: within 1 K once warm, too hot by up to 6 K while it warms.

    The simulated coolant has a capacity of its own, which the lump does not know; that errs to the cautious side.
    """
    errors_k = [(time_s, estimate_c - true_c) for time_s, estimate_c, true_c in _night("healthy-night")]
    warm_k = [error_k for time_s, error_k in errors_k if 3600.0 < time_s < 34_000.0]
    warming_k = [error_k for time_s, error_k in errors_k if time_s <= 3600.0]

    assert len(warm_k) > 200
    assert max(map(abs, warm_k)) < 1.0
    assert min(warming_k) > -1.0
    assert 1.0 < max(warming_k) < 6.0


def test_it_does_not_see_cooling_that_fails() -> None:
    """What the documents say of it: with a fading radiator the metal is 30 K hotter in the end than the estimate."""
    *_, (_, estimate_c, true_c) = (row for row in _night("fading-radiator") if row[0] < 34_000.0)

    assert true_c > 60.0
    assert estimate_c < 40.0


_ANY_EVENT = st.one_of(
    st.builds(
        Sample,
        st.floats(0, 4000),
        st.dictionaries(
            st.sampled_from(["temp_c:manifold", "temp_c:cold_end", "set_c:manifold", "temp_c:nozzle", "fed_mm:1"]),
            st.floats(0.0, 300.0),
        ),
    ),
    st.builds(Tick, st.floats(0, 4000)),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(_ANY_EVENT, max_size=20))
def test_it_stays_between_what_heats_and_what_cools_it(events: list[Event]) -> None:
    """Whatever comes, in whatever order: no estimate is hotter or colder than all that it can exchange heat with."""
    heard_c = [AMBIENT_C, LUMP.coolant_c]
    for event in events:
        if isinstance(event, Sample):
            heard_c += [value for name, value in event.values.items() if not name.startswith("fed_mm")]
    for step in run(events, _estimated()):
        wall = _cold_end(step.assessment)
        assert wall.is_estimate <= (wall.temp_c is not None)
        if wall.temp_c is not None:
            assert min(heard_c) - 1e-6 <= wall.temp_c <= max(heard_c) + 1e-6
