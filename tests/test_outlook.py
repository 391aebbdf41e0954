"""Looking ahead over a given future, against the field marched finely and the closed form."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.assessment import Array
from monitor.core.field_building import build_field
from monitor.core.field_state import FieldState
from monitor.core.forecast import standing_left_s
from monitor.core.outlook import Limits, StrandOutlook, Stretch, look_ahead
from tests.machines import machine

FIELD = build_field(machine(2))
WALLS = np.array([25.0, 35.0, 195.0, 225.0])
WARMER = np.array([25.0, 75.0, 205.0, 225.0])
LIMITS = [Limits(200.0, 320.0, 10.0, 30.0)] * 2
HOUR_S = 3600.0


def _ahead(state: FieldState, *future: Stretch) -> tuple[StrandOutlook, ...]:
    return look_ahead(FIELD, state, future, LIMITS)


def _marched(state: FieldState, future: list[Stretch], step_s: float = 2.0) -> FieldState:
    for stretch in future:
        start_c, steps = state.walls_c, round(stretch.length_s / step_s)
        for step in range(1, steps + 1):
            walls_c: Array = start_c + (stretch.walls_c - start_c) * step / steps
            state = FIELD.advance(state, step_s, walls_c, [mm / steps for mm in stretch.feed_mm])
    return state


def test_a_standing_strand_passes_its_limits_when_the_closed_form_says() -> None:
    """Twelve hours at the same walls: the closed form of the time left, within a second."""
    state = FIELD.advance(FIELD.initial(WALLS), 600.0, WALLS, [0.0, 0.0])
    temp, dose = (rows[0] for rows in FIELD.path_rows(state))
    rate = np.exp(FIELD.laws[0].log_rate(temp[None, :])[0])
    outlook = _ahead(state, Stretch(12 * HOUR_S, WALLS, (0.0, 0.0)))[0]

    assert outlook.warn_s == pytest.approx(standing_left_s(dose, rate, 200.0), abs=1.0)
    assert outlook.limit_s == pytest.approx(standing_left_s(dose, rate, 320.0), abs=1.0)
    assert outlook.softening_warn_s == math.inf


def test_a_future_of_turns_ends_as_when_it_is_marched() -> None:
    """Feeding, standing, a retraction, warming walls: doses as with two-second steps, within 2 %."""
    future = [
        Stretch(120.0, WALLS, (150.0, 0.0)),
        Stretch(1800.0, WALLS, (0.0, 0.0)),
        Stretch(60.0, WALLS, (20.0, -3.0)),
        Stretch(1800.0, WARMER, (0.0, 0.0)),
        Stretch(300.0, WARMER, (12.0, 0.0)),
        Stretch(3600.0, WARMER, (0.0, 0.0)),
    ]
    state = FIELD.initial(WALLS)
    marched, outlooks = _marched(state, future), _ahead(state, *future)

    doses, softening = FIELD.oldest_min(marched), FIELD.softest_min(marched)
    assert [outlook.dose_min for outlook in outlooks] == pytest.approx(doses, rel=0.02)
    assert [outlook.softening_min for outlook in outlooks] == pytest.approx(softening, rel=0.03)
    assert min(softening) > 1.0


def test_a_long_feed_leaves_what_a_short_one_of_the_same_speed_does() -> None:
    """Of a feed longer than the path only the last part matters: an hour and five minutes at 1 mm/s end alike.

    To within what half a parcel more or less of way makes.
    """
    state = FIELD.advance(FIELD.initial(WALLS), 5 * HOUR_S, WALLS, [0.0, 0.0])
    long = _ahead(state, Stretch(HOUR_S, WALLS, (HOUR_S, 0.0)))[0]
    short = _ahead(state, Stretch(300.0, WALLS, (300.0, 0.0)))[0]

    assert FIELD.oldest_min(state)[0] > 50.0
    assert long.dose_min == pytest.approx(short.dose_min, rel=0.1)
    assert long.dose_min < 1.0


def test_softening_is_foreseen_when_the_cold_side_warms() -> None:
    """A cold end that rises from 35 to 75 °C in two hours: the warn dose is passed on the way up or soon after."""
    state = FIELD.initial(WALLS)
    future = [Stretch(2 * HOUR_S, WARMER, (0.0, 0.0)), Stretch(4 * HOUR_S, WARMER, (0.0, 0.0))]
    outlook = _ahead(state, *future)[0]
    seconds, marched = 0.0, state
    while FIELD.softest_min(marched)[0] < 10.0:
        seconds += 20.0
        walls_c = WALLS + (WARMER - WALLS) * min(1.0, seconds / (2 * HOUR_S))
        marched = FIELD.advance(marched, 20.0, walls_c, [0.0, 0.0])

    assert outlook.softening_warn_s == pytest.approx(seconds, rel=0.03)
    assert outlook.softening_limit_s > outlook.softening_warn_s


def test_a_limit_already_passed_is_passed_now() -> None:
    """What is past its limit is so from the first moment."""
    state = FIELD.advance(FIELD.initial(WALLS), 12 * HOUR_S, WALLS, [0.0, 0.0])

    assert _ahead(state, Stretch(60.0, WALLS, (0.0, 0.0)))[0].warn_s == 0.0


@settings(max_examples=15, deadline=None)
@given(
    pieces=st.lists(
        st.tuples(st.floats(5.0, 4000.0), st.sampled_from([0.0, 0.0, -2.0, 5.0, 400.0]), st.sampled_from([0, 1])),
        min_size=1,
        max_size=6,
    )
)
def test_looking_ahead_disturbs_nothing_and_misses_no_strand(pieces: list[tuple[float, float, int]]) -> None:
    """Whatever the future, the state it started from stays as it was, and a strand's outlook is its own."""
    state = FIELD.advance(FIELD.initial(WALLS), HOUR_S, WALLS, [0.0, 0.0])
    before = state.temp_c.copy(), state.dose_min.copy()
    future = [Stretch(length_s, (WALLS, WARMER)[hot], (feed_mm, 0.0)) for length_s, feed_mm, hot in pieces]
    swapped = [Stretch(part.length_s, part.walls_c, part.feed_mm[::-1]) for part in future]
    here, there = _ahead(state, *future), _ahead(state, *swapped)

    assert np.array_equal(state.temp_c, before[0])
    assert np.array_equal(state.dose_min, before[1])
    assert here == there[::-1]
