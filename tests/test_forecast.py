"""Time left in closed form, against marching ahead with the field itself."""

import math

import numpy as np
import pytest

from monitor.core.field import build_field
from monitor.core.forecast import feeding_left_s, standing_left_s
from tests.machines import machine

WALLS = np.array([25.0, 35.0, 195.0, 225.0])


def test_standing_time_left_is_met_when_it_is_marched() -> None:
    """A standing strand reaches its warn dose when the closed form said, within a second in hours."""
    field = build_field(machine())
    state = field.advance(field.initial(WALLS), 600.0, WALLS, [0.0])
    temp, dose = (rows[0] for rows in field.path_rows(state))
    left_s = standing_left_s(dose, np.exp(field.law.log_rate(temp[None, :])[0]), 200.0)
    marched = field.advance(state, left_s, WALLS, [0.0])

    assert left_s > 3600.0
    assert field.path_rows(marched)[1].max() == pytest.approx(200.0, rel=1e-5)


def test_a_passed_limit_leaves_nothing() -> None:
    """Past the limit the time left is 0, not negative."""
    assert standing_left_s(np.array([250.0]), np.array([1.0]), 200.0) == 0.0


def test_a_cold_strand_has_all_the_time() -> None:
    """Where the rate is nil, time does not run out."""
    assert standing_left_s(np.array([0.0]), np.array([0.0]), 200.0) == math.inf


def test_slow_feed_runs_out_when_the_strand_ages_faster_than_it_leaves() -> None:
    """At 1 min per min, 10 mm to go at 0.001 mm/s (167 min) and 20 min to the limit: 20 min left, not forever."""
    assert feeding_left_s(np.array([0.0]), np.array([1.0]), 20.0, np.array([10.0]), 0.001) == pytest.approx(1200.0)


def test_feeding_time_left_is_never_later_than_marching() -> None:
    """The closed form for a moving strand errs to the early side of the field's own answer."""
    field = build_field(machine())
    speed_mm_s, limit_min = 0.0015, 30.0
    state = field.initial(WALLS)
    temp, dose = (rows[0] for rows in field.path_rows(state))
    rate = np.exp(field.law.log_rate(temp[None, :])[0])
    left_s = feeding_left_s(dose, rate, limit_min, field.centres_mm(state, 0), speed_mm_s)
    seconds = 0.0
    while field.path_rows(state)[1].max() < limit_min:
        state = field.advance(state, 20.0, WALLS, [speed_mm_s * 20.0])
        seconds += 20.0

    assert left_s <= seconds
    assert left_s == pytest.approx(seconds, rel=0.1)
