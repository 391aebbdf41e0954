"""Time left in closed form, against marching ahead with the field itself."""

import math

import numpy as np
import pytest

from monitor.core.field_building import build_field
from monitor.core.forecast import feeding_left_s, main_doubt, standing_left_s, time_left_s
from tests.doubt_examples import DOUBTS, LIMIT_MIN
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


@pytest.mark.parametrize("name", DOUBTS)
def test_each_datum_can_make_the_range(name: str) -> None:
    """Where one datum alone is in doubt it is named, and the high end of the range is what it alone comes to."""
    case = DOUBTS[name]
    span = time_left_s(case.ageing, LIMIT_MIN, case.limit_high_min)

    assert main_doubt(case.ageing, LIMIT_MIN, case.limit_high_min) == name
    assert span.high == pytest.approx(60.0 * case.high_min)
    assert span.low < span.high


def test_of_two_doubts_the_greater_is_named() -> None:
    """A limit known to a factor of two and a rate known to a factor of three: the rate matters more, and reversed."""
    ageing = DOUBTS["activation energy"].ageing
    faster = ageing._replace(log_hopeful=np.log([1 / 3]))

    # 90 min to go: 270 at a third of the rate, 240 with a limit of 250, 290 with one of 300
    assert main_doubt(faster, LIMIT_MIN, 250.0) == "activation energy"
    assert main_doubt(faster, LIMIT_MIN, 300.0) == "dose limit"


def test_without_a_range_there_is_no_doubt() -> None:
    """Nothing in doubt, nothing that runs out, or a limit passed for certain: no datum is blamed."""
    sure = DOUBTS["dose limit"].ageing
    cold = sure._replace(log_cautious=np.array([-100.0]), log_hopeful=np.array([-100.0]))

    assert main_doubt(sure, LIMIT_MIN, LIMIT_MIN) == ""
    assert main_doubt(cold, LIMIT_MIN, 2 * LIMIT_MIN) == ""
    assert main_doubt(sure._replace(dose_min=np.array([250.0])), LIMIT_MIN, 2 * LIMIT_MIN) == ""


def test_a_moving_strand_has_its_doubts_too() -> None:
    """Fed so slowly that it reaches the limit on its way, a gap in the data decides as it does when it stands."""
    case = DOUBTS["gap in the data"]
    slow = case.ageing._replace(x_mm=np.array([50.0]), speed_mm_s=0.001)  # 833 min on its way, 40 to the limit

    assert main_doubt(slow, LIMIT_MIN, LIMIT_MIN) == "gap in the data"
    assert main_doubt(slow._replace(speed_mm_s=1.0), LIMIT_MIN, LIMIT_MIN) == ""
