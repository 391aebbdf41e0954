"""What lies between the merge point and the nozzle: plug flow by hand, ageing in a pause, and what is told of it."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import SCENARIOS
from connectors.telemetry import Event, Sample
from monitor.config import demo_profile
from monitor.core.alert_points import alert_points
from monitor.core.alert_types import AlertState, AlertTransition, Priority
from monitor.core.assessment import Assessment
from monitor.core.dose import cautious_law
from monitor.core.engine import Engine, run
from monitor.core.parameters import Parameters
from monitor.core.shared_channel import Content, SharedChannel, SharedState, shared_channel
from tests.machines import GREY, machine

CHANNEL = SharedChannel(capacity_mm3=100.0, strand_mm2=2.0, strands=3)
"""By hand: 50 mm of strand fill it."""

FRESH = (0.0, 0.0, 0.0)
HOT = {"temp_c:cold_end": 32.0, "temp_c:manifold": 195.0, "temp_c:nozzle": 225.0}
FILLS_MM = 18.0 * (2.0 / 1.75) ** 2
"""Strand that fills the 18 mm of 2 mm bore after the merge point of the tests' machine: 23.5 mm."""


def _fed(state: SharedState, time_s: float, *new_mm: float, handed_min: tuple[float, ...] = FRESH) -> SharedState:
    return CHANNEL.fed(state, time_s, new_mm, handed_min)


def _shares(state: SharedState) -> list[tuple[int, float]]:
    return [(content.strand, content.share) for content in CHANNEL.contents(state)]


def test_its_volume_is_that_of_the_zones_after_the_merge_point() -> None:
    """18 mm of 2 mm bore are 56.5 mm³, which 23.5 mm of 1.75 mm strand fill; none after the last zone."""
    channel = shared_channel(machine())
    assert channel is not None

    assert channel.capacity_mm3 == pytest.approx(math.pi * 18.0)
    assert channel.length_mm == pytest.approx(FILLS_MM)
    assert shared_channel(_without_channel()) is None


def _without_channel() -> Parameters:
    return replace(machine(), zones=machine().zones[:3])


def test_at_the_start_nothing_is_known_of_it() -> None:
    """What was there before the watch is not made up; shares add up to less than 1 until it is gone."""
    start = CHANNEL.initial()

    assert _shares(start) == []
    assert CHANNEL.worst_share(start, FRESH) == -math.inf
    assert _shares(_fed(start, 0.0, 10.0, 0.0, 0.0)) == [(0, 0.2)]


def test_what_came_first_leaves_first() -> None:
    """By hand, 50 mm fill it: 30 mm of one, 30 of another and 10 of the first again leave 10, 30 and 10 mm.

    Of the first 30 mm of strand 0, 20 mm have left by the nozzle; the 10 that remain are from the start.
    """
    state = _fed(CHANNEL.initial(), 0.0, 30.0, 0.0, 0.0)
    state = _fed(state, 60.0, 0.0, 30.0, 0.0)
    state = _fed(state, 120.0, 10.0, 0.0, 0.0)
    first, second = CHANNEL.contents(state)

    assert [plug.volume_mm3 for plug in state.plugs] == pytest.approx([20.0, 60.0, 20.0])
    assert first._replace(share=0.4) == Content(0, 0.4, 0.0, 0.0)
    assert second._replace(share=0.6) == Content(1, 0.6, 60.0, 0.0)
    assert (first.share, second.share) == pytest.approx((0.4, 0.6))
    assert _shares(_fed(state, 180.0, 0.0, 0.0, 50.0)) == [(2, 1.0)]


def test_a_feed_longer_than_the_channel_fills_it() -> None:
    """A purge of a metre leaves its own last part only, however it was reported."""
    old = _fed(CHANNEL.initial(), 0.0, 50.0, 0.0, 0.0)

    assert _shares(_fed(old, 9.0, 0.0, 1000.0, 0.0)) == [(1, 1.0)]


def test_material_that_comes_in_aged_stays_aged() -> None:
    """Its dose at the merge point goes with it and grows on: 20 min handed over and 5 gained are 25."""
    state = CHANNEL.aged(CHANNEL.initial(), 600.0, np.array([1.0, 2.0, 0.0]))  # what was there before does not count
    state = _fed(state, 600.0, 0.0, 10.0, 0.0, handed_min=(0.0, 20.0, 0.0))
    state = CHANNEL.aged(state, 150.0, np.array([1.0, 2.0, 0.0]))

    assert CHANNEL.contents(state)[0].dose_min == pytest.approx(25.0)
    assert CHANNEL.worst_share(state, (100.0, 50.0, 100.0)) == pytest.approx(0.5)


def test_small_feeds_are_joined_to_the_cautious_side() -> None:
    """Fed in steps of 0.1 mm, plugs stay few; together they have the earliest entry and the highest dose."""
    state = CHANNEL.initial()
    for step in range(400):
        state = _fed(state, float(step), 0.1, 0.0, 0.0, handed_min=(float(step % 3), 0.0, 0.0))

    assert len(state.plugs) <= 33
    (held,) = CHANNEL.contents(state)
    assert (held.share, held.oldest_s, held.dose_min) == pytest.approx((0.8, 0.0, 2.0))


_FEEDS = st.lists(
    st.tuples(st.floats(0, 120), st.integers(0, 2), st.one_of(st.floats(0.001, 2), st.floats(0.001, 200))), max_size=60
)


@given(_FEEDS)
def test_volume_is_conserved_and_order_kept(feeds: list[tuple[float, int, float]]) -> None:
    """Whatever is fed: no more in it than went in or fits, no share above 1, newest first; the last fed is in it."""
    state, time_s, fed_mm3 = CHANNEL.initial(), 0.0, 0.0
    for wait_s, strand, length_mm in feeds:
        time_s, fed_mm3 = time_s + wait_s, fed_mm3 + length_mm * CHANNEL.strand_mm2
        state = _fed(state, time_s, *(length_mm if strand == number else 0.0 for number in range(3)))
        assert state.plugs[0].strand == strand
    shares = [content.share for content in CHANNEL.contents(state)]
    entered = [plug.entered_s for plug in state.plugs]

    assert all(0.0 < share <= 1.0 for share in shares)
    assert sum(plug.volume_mm3 for plug in state.plugs) == pytest.approx(min(fed_mm3, CHANNEL.capacity_mm3))
    assert sum(shares) == pytest.approx(min(1.0, fed_mm3 / CHANNEL.capacity_mm3))
    assert entered == sorted(entered, reverse=True)


@given(_FEEDS, st.integers(1, 5))
def test_the_oldest_leaves_as_if_every_millimetre_were_followed(
    feeds: list[tuple[float, int, float]], parts: int
) -> None:
    """Against a plain reckoning: of each strand there is what the last 50 mm fed hold, in whatever parts it came."""
    state, fed = CHANNEL.initial(), list[tuple[int, float]]()
    for _, strand, length_mm in feeds:
        for _ in range(parts):
            part = [0.0, 0.0, 0.0]
            part[strand] = length_mm / parts
            state = _fed(state, 0.0, *part)
        fed.append((strand, length_mm))
    left_mm, held_mm = 50.0, [0.0, 0.0, 0.0]
    for strand, length_mm in reversed(fed):
        held_mm[strand] += min(left_mm, length_mm)
        left_mm -= min(left_mm, length_mm)
    shares = dict(_shares(state))

    assert [shares.get(strand, 0.0) for strand in range(3)] == pytest.approx([mm / 50.0 for mm in held_mm], abs=1e-9)


def _samples(*stretches: tuple[float, dict[int, float]], walls: dict[str, float] = HOT) -> Iterator[Sample]:
    """Samples every 2 s; each stretch lasts so long and feeds these inputs so fast [s, mm/s]."""
    now_s, fed = 0.0, {1: 0.0, 2: 0.0}
    for lasting_s, speeds in stretches:
        for _ in range(round(lasting_s / 2.0)):
            yield Sample(now_s, {**walls, **{f"fed_mm:{number}": mm for number, mm in fed.items()}})
            now_s += 2.0
            for number, speed_mm_s in speeds.items():
                fed[number] += 2.0 * speed_mm_s
    yield Sample(now_s, {**walls, **{f"fed_mm:{number}": mm for number, mm in fed.items()}})


def _last(events: Iterable[Event]) -> Assessment:
    *_, step = run(events, machine(2))
    return step.assessment


def _alerts(events: Iterable[Event], parameters: Parameters | None = None) -> list[AlertTransition]:
    steps = run(events, machine(2) if parameters is None else parameters)
    return [change for step in steps for change in step.transitions if change.alert.condition == "shared"]


def test_the_engine_tells_whose_material_it_is() -> None:
    """40 mm of input 1, then 10 of input 2: of the 23.5 mm that fill it 10 are of input 2, the others of input 1."""
    seen = _last(_samples((40.0, {1: 1.0}), (10.0, {2: 1.0}), (60.0, {})))
    shares = {held.input: held.share for held in seen.shared}

    assert shares == pytest.approx({1: 1.0 - 10.0 / FILLS_MM, 2: 10.0 / FILLS_MM}, abs=0.01)
    assert sum(shares.values()) == pytest.approx(1.0)
    ages_s = {held.input: held.age_s for held in seen.shared}
    assert ages_s[2] == pytest.approx(68.0, abs=6.0)
    assert ages_s[1] == pytest.approx(70.0 + FILLS_MM - 10.0, abs=6.0)


def test_a_retraction_and_its_return_change_nothing() -> None:
    """A hundred retractions of 6 mm, each returned: the channel holds what it held."""
    still = _last(_samples((40.0, {1: 1.0}), (800.0, {})))
    moves = [stretch for _ in range(100) for stretch in ((4.0, {1: -1.5}), (4.0, {1: 1.5}))]
    moved = _last(_samples((40.0, {1: 1.0}), *moves))

    assert [held.share for held in moved.shared] == pytest.approx([held.share for held in still.shared])
    assert [held.dose_min for held in moved.shared] == pytest.approx([held.dose_min for held in still.shared], rel=1e-3)


def test_in_a_pause_it_ages_by_the_law_at_its_hottest_wall() -> None:
    """Two hours with the nozzle at 225 °C: as many minutes as the Arrhenius law gives there, not at 195 °C."""
    seen = _last(_samples((40.0, {1: 1.0}), (7200.0, {})))
    rate = float(np.exp(cautious_law(machine().strands).log_rate(np.array([[225.0]])))[0, 0])

    assert [held.input for held in seen.shared] == [1]
    assert seen.shared[0].dose_min == pytest.approx(120.0 * rate, rel=0.01)
    assert seen.shared[0].dose_min > 3 * seen.strands[0].dose_now_min


def test_a_long_pause_calls_and_a_purge_ends_it() -> None:
    """A WARNING with the share of the warn dose, whose material it is and how much to purge; it clears by purging."""
    raised, *unseen, cleared = _alerts(_samples((40.0, {1: 1.0}), (9000.0, {}), (40.0, {2: 1.0}), (60.0, {})))

    assert (raised.event, raised.alert.priority, raised.alert.unit) == ("raised", Priority.WARNING, "%")
    assert {change.event for change in unseen} <= {"escalated"}
    assert raised.alert.value == pytest.approx(101.3, abs=1.5)  # two minutes on
    assert raised.alert.limit == 100.0
    assert raised.alert.text.startswith("material of input 1 between merge point and nozzle, there for ")
    assert "min: warn at 200, limit 320" in raised.alert.text
    assert "Purge 24 mm" in raised.alert.action
    assert (cleared.event, cleared.alert.state) == ("cleared", AlertState.RETURNED)
    assert 9040.0 < cleared.time_s < 9080.0


def test_what_comes_in_fast_brings_its_highest_dose() -> None:
    """A strand that stood for hours is advanced by 20 mm in 4 s: what is then in the channel has what it had before."""
    stood = _last(_samples((40.0, {1: 1.0}), (4 * 3600.0, {})))
    fed = _last(_samples((40.0, {1: 1.0}), (4 * 3600.0, {}), (24.0, {2: 1.0}), (4.0, {1: 5.0}), (8.0, {})))
    of_first = next(held for held in fed.shared if held.input == 1)

    assert of_first.share == pytest.approx(20.0 / FILLS_MM, abs=0.02)
    assert of_first.dose_min == pytest.approx(stood.strands[0].dose_now_min, rel=0.02)


def test_the_call_comes_in_a_silence_too() -> None:
    """While no data come, walls count as hot: what lies in the channel goes on ageing, and calls."""
    hot = {**HOT, "set_c:nozzle": 225.0}
    early = list(_samples((40.0, {1: 1.0}), (60.0, {}), walls=hot))
    late = [Sample(9000.0 + wait_s, {**hot, "fed_mm:1": 40.0, "fed_mm:2": 0.0}) for wait_s in (0.0, 130.0)]

    assert [change.event for change in _alerts([*early, *late])] == ["raised"]


def test_what_moved_in_a_gap_may_have_lain_there_ever_since() -> None:
    """Three hours without data, then a feed counter that is 100 mm on: age and dose are those of the whole gap."""
    early = list(_samples((40.0, {1: 1.0}), (60.0, {})))
    late = [Sample(10_900.0, {**HOT, "fed_mm:1": 140.0, "fed_mm:2": 0.0})]
    (held,) = _last([*early, *late]).shared
    rate = float(np.exp(cautious_law(machine().strands).log_rate(np.array([[225.0]])))[0, 0])

    assert held.age_s == pytest.approx(10_800.0, abs=6.0)
    assert held.dose_min == pytest.approx(180.0 * rate, rel=0.01)


def test_a_cool_nozzle_ends_the_ageing() -> None:
    """The same pause with the heat off: nothing ages, nobody is called."""
    warm = list(_samples((40.0, {1: 1.0})))
    cold = {"temp_c:manifold": 40.0, "temp_c:nozzle": 40.0, "temp_c:cold_end": 30.0, "fed_mm:1": 40.0}

    assert _alerts([*warm, *(Sample(second, cold) for second in np.arange(42.0, 20_000.0, 10.0).tolist())]) == []


def test_a_machine_without_a_shared_channel_has_no_such_point() -> None:
    """Where the merge point is the nozzle's end there is nothing to watch and nothing to tell."""
    parameters = _without_channel()
    *_, step = run(_samples((20.0, {1: 1.0})), parameters)

    assert step.assessment.shared == ()
    assert "shared" not in {point.rule.condition for point in alert_points(parameters)}


def test_a_healthy_night_does_not_call() -> None:
    """The simulated night with its changes of input and its cooling down: never past a quarter of any warn dose."""
    engine, highest = Engine(demo_profile().parameters), 0.0
    for event in simulate(SCENARIOS["healthy-night"], period_s=10.0):
        step = engine.advance(event)
        assert [change.alert.condition for change in step.transitions if change.alert.condition == "shared"] == []
        if isinstance(event, Sample) and round(event.time_s) % 300 == 0:
            for held in step.assessment.shared:
                highest = max(highest, held.dose_min / held.dose_warn_min)

    assert 0.0 < highest < 0.5


def test_the_limits_are_each_strands_own() -> None:
    """Two materials in the channel: the one with the lower warn dose is the one that calls, at its own 100 %."""
    delicate = replace(GREY, name="test-delicate", warn_min=50.0, limit_min=80.0)
    both = machine(2)
    mixed = replace(both, strands=(both.strands[0], replace(both.strands[1], material=delicate)))
    raised = _alerts(_samples((40.0, {1: 1.0}), (10.0, {2: 1.0}), (4000.0, {})), mixed)[0]

    assert "material of input 2" in raised.alert.text
    assert raised.alert.value is not None
    assert 100.0 < raised.alert.value < 115.0  # two minutes on


def test_strands_mixed_a_little_at_a_time_stay_few_plugs() -> None:
    """Three strands fed in turn by hundredths of a millimetre: some tens of plugs, in equal proportions."""
    state = CHANNEL.initial()
    for turn in range(6000):
        state = _fed(state, float(turn), *(0.05 if turn % 3 == strand else 0.0 for strand in range(3)))

    assert len(state.plugs) < 200
    assert [share for _, share in _shares(state)] == pytest.approx([1 / 3] * 3, abs=0.02)
