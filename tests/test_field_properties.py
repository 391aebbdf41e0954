"""What must hold of the field whatever happens to a machine: bookkeeping of dose, time, heat and feed.

Through the public `build_field`, `Field.initial` and `Field.advance`. A parcel is followed by its number on the strand:
its column plus the whole parcels fed so far.
"""

from typing import NamedTuple

import numpy as np
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import simpson

from monitor.core.assessment import Array
from monitor.core.field_building import build_field
from monitor.core.field_state import FieldState
from monitor.core.propagator import Lattice, conduction_modes, step_matrix
from tests.machines import AMBIENT_C, machine

FIELD = build_field(machine(2))
COLD = np.array([AMBIENT_C, AMBIENT_C, AMBIENT_C, AMBIENT_C])
HOT = np.array([AMBIENT_C, 35.0, 195.0, 225.0])
WITHDRAWN_MM, PASSED_MM = 150.0, 30.0
"""Feed within these bounds takes no material beyond what keeps its dose."""

fast = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
few = settings(max_examples=3, deadline=None)

walls = st.builds(
    lambda cold, hot, nozzle: np.array([AMBIENT_C, cold, hot, nozzle]),
    st.floats(20.0, 110.0),
    st.floats(20.0, 260.0),
    st.floats(20.0, 260.0),
)
moves = st.floats(-9.0, 9.0).map(lambda mm: round(mm, 3))


class Step(NamedTuple):
    """One step of the history of a machine with two strands; in a gap of the data nobody knows the walls."""

    seconds: float
    walls_c: Array
    feed_mm: tuple[float, float]
    is_known: bool = True

    def taken(self, state: FieldState, warmer_k: Array | float = 0.0) -> FieldState:
        """The state after this step, with walls warmer by so much."""
        return FIELD.advance(state, self.seconds, self.walls_c + warmer_k, self.feed_mm, is_known=self.is_known)


steps = st.builds(
    Step,
    st.sampled_from([0.5, 1.0, 7.0, 60.0]),
    walls,
    st.tuples(moves, st.sampled_from([0.0, 1.0])),
    st.sampled_from([True, True, True, False]),
)
histories = st.lists(steps, min_size=1, max_size=8)


def _aged() -> FieldState:
    """Strands that stood hot, the first with material withdrawn and passed that has its own dose, and went cold."""
    state = FIELD.initial(HOT)
    for feed_mm in (0.0, 6.0, 0.0, -20.0, 0.0, 9.0):
        state = FIELD.advance(state, 1800.0, HOT, [feed_mm, 0.0])
    return FIELD.advance(state, 3600.0, COLD, [0.0, 0.0])


AGED = _aged()


def _same_parcels(before: FieldState, after: FieldState, strand: int) -> tuple[Array, Array]:
    """Doses of the parcels of one strand that both states know."""
    columns = before.dose_min.shape[1]
    shift = after.places[strand].shift - before.places[strand].shift
    first, last = max(0, -shift), min(columns, columns - shift)
    return before.dose_min[strand, first + shift : last + shift], after.dose_min[strand, first:last]


def _fed_cells(state: FieldState, strand: int) -> float:
    """Where the strand stands on the lattice, whichever way it is split into whole parcels and a remainder."""
    return state.places[strand].shift - state.places[strand].remainder


@fast
@given(histories)
def test_dose_never_falls(history: list[Step]) -> None:
    """Whatever walls and feed do, no parcel grows younger."""
    state = AGED
    for step in history:
        before, state = state, step.taken(state)
        for strand in (0, 1):
            old, new = _same_parcels(before, state, strand)
            assert (new >= old).all()


@fast
@given(histories, st.floats(0.0, 40.0), st.floats(0.0, 40.0))
def test_hotter_walls_never_give_less(history: list[Step], cold_side_k: float, manifold_k: float) -> None:
    """The same feed past walls that are nowhere colder: no parcel is colder, less aged or less soft."""
    warmer = np.array([0.0, cold_side_k, manifold_k, 0.0])
    one, other = FIELD.initial(HOT), FIELD.initial(HOT + warmer)
    for step in history:
        one, other = step.taken(one), step.taken(other, warmer)

    assert (other.temp_c >= one.temp_c - 1e-9).all()
    assert (other.dose_min >= one.dose_min * (1 - 1e-9)).all()
    assert all(np.array(FIELD.softest_min(other)) >= np.array(FIELD.softest_min(one)) * (1 - 1e-9))


@fast
@given(st.floats(2.0, 7200.0), st.floats(0.01, 0.99), walls)
def test_time_can_be_split_anywhere(seconds: float, share: float, walls_c: Array) -> None:
    """A standing strand under walls that stay as they are: two steps are one, temperature, dose and softening alike."""
    start = FIELD.initial(walls_c)
    whole = FIELD.advance(start, seconds, walls_c, [0.0, 0.0])
    first = FIELD.advance(start, seconds * share, walls_c, [0.0, 0.0])
    both = FIELD.advance(first, seconds * (1 - share), walls_c, [0.0, 0.0])

    assert np.abs(both.temp_c - whole.temp_c).max() < 1e-8
    np.testing.assert_allclose(both.dose_min, whole.dose_min, rtol=1e-9)
    np.testing.assert_allclose(FIELD.softest_min(both), FIELD.softest_min(whole), rtol=1e-9)


@fast
@given(st.floats(2.0, 7200.0), st.floats(0.01, 0.99), walls, walls)
def test_time_can_be_split_anywhere_while_walls_run(seconds: float, share: float, begin_c: Array, end_c: Array) -> None:
    """Under walls that run linearly the temperatures are those of one step to rounding (method exact in time)."""
    start = FIELD.initial(begin_c)
    whole = FIELD.advance(start, seconds, end_c, [0.0, 0.0])
    first = FIELD.advance(start, seconds * share, begin_c + (end_c - begin_c) * share, [0.0, 0.0])
    both = FIELD.advance(first, seconds * (1 - share), end_c, [0.0, 0.0])

    assert np.abs(both.temp_c - whole.temp_c).max() < 1e-8


@fast
@given(st.floats(0.5, 2.0), st.floats(0.2, 0.8), walls, st.floats(-2.0, 2.0))
def test_dose_hardly_depends_on_the_step(seconds: float, share: float, begin_c: Array, ramp_k_s: float) -> None:
    """While walls run at up to 2 K/s, the dose of a step of up to 2 s and of its parts agree within 3 %."""
    end_c = begin_c + np.array([0.0, 0.0, 1.0, 1.0]) * ramp_k_s * seconds
    start = FIELD.initial(begin_c)
    whole = FIELD.advance(start, seconds, end_c, [0.0, 0.0])
    first = FIELD.advance(start, seconds * share, begin_c + (end_c - begin_c) * share, [0.0, 0.0])
    both = FIELD.advance(first, seconds * (1 - share), end_c, [0.0, 0.0])

    np.testing.assert_allclose(both.dose_min, whole.dose_min, rtol=0.03)


@fast
@given(st.lists(moves, min_size=1, max_size=8))
def test_feed_and_its_reversal_restore_everything(feed_mm: list[float]) -> None:
    """Cold, where nothing ages: what is fed and then taken back leaves every parcel at its place with its dose."""
    reach_mm = np.cumsum(feed_mm)
    assume(reach_mm.min() > -WITHDRAWN_MM and reach_mm.max() < PASSED_MM)
    state = AGED
    for moved_mm in (*feed_mm, *(-mm for mm in reversed(feed_mm))):
        state = FIELD.advance(state, 1e-3, COLD, [moved_mm, 0.0])
    old, new = _same_parcels(AGED, state, 0)

    assert abs(_fed_cells(state, 0) - _fed_cells(AGED, 0)) < 1e-9
    assert len(new) >= AGED.dose_min.shape[1] - 1
    np.testing.assert_allclose(new, old, atol=1e-6)
    assert old.max() > 10.0  # there was something to restore
    assert np.ptp(old[old > 1.0]) > 1.0


@few
@given(st.floats(0.2, 8.0))
def test_a_thousand_retractions_leave_all_doses(moved_mm: float) -> None:
    """Cold, where nothing ages: 1,000 retractions and returns change no dose and no place."""
    state = AGED
    for _ in range(1000):
        state = FIELD.advance(state, 1e-3, COLD, [-moved_mm, 0.0])
        state = FIELD.advance(state, 1e-3, COLD, [moved_mm, 0.0])
    old, new = _same_parcels(AGED, state, 0)

    assert abs(_fed_cells(state, 0) - _fed_cells(AGED, 0)) < 1e-6
    assert len(new) >= AGED.dose_min.shape[1] - 1
    np.testing.assert_allclose(new, old, atol=1e-5)


def test_a_strand_can_move_after_a_gap() -> None:
    """What was gained while nobody knew the walls travels along with the strand, and no further step adds to it."""
    known = FIELD.advance(FIELD.initial(HOT), 600.0, HOT, [0.0, 0.0])
    gap = FIELD.advance(known, 600.0, HOT, [0.0, 0.0], is_known=False)
    fed = FIELD.advance(gap, 2.0, HOT, [3.0, -3.0])
    later = FIELD.advance(fed, 600.0, HOT, [0.0, 0.0])

    for strand in (0, 1):
        gained = FIELD.oldest_min(gap)[strand] - FIELD.oldest_min(known)[strand]
        assert gained > 1.0
        assert abs(FIELD.oldest_min(fed)[strand] - FIELD.surest_min(fed)[strand] - gained) < 0.05 * gained
        assert abs(FIELD.oldest_min(later)[strand] - FIELD.surest_min(later)[strand] - gained) < 0.05 * gained


def test_a_strand_can_move_after_a_cold_end_that_was_warm_for_a_moment() -> None:
    """A cold end 1 K above the glass transition for half a second, then cool: the next retraction is a step as any."""
    warm, cool = np.array([AMBIENT_C, 61.0, 195.0, 225.0]), np.array([AMBIENT_C, 20.0, 195.0, 225.0])
    state = FIELD.advance(FIELD.initial(COLD), 0.5, warm, [0.0, 0.0])
    state = FIELD.advance(state, 0.5, cool, [-1.0, 1.0])

    assert FIELD.softest_min(state) == [0.0, 0.0]


rates = st.lists(st.floats(0.0, 0.75), min_size=24, max_size=24).map(np.array)
temperatures = st.lists(st.floats(-20.0, 300.0), min_size=24, max_size=24).map(np.array)
places = st.floats(0.0, 0.99)
GRID, DIFFUSIVITY = Lattice(24, 0.75), 0.1


@fast
@given(rates, temperatures, places, st.tuples(st.floats(20.0, 300.0), st.floats(20.0, 300.0), st.floats(20.0, 300.0)))
def test_heat_stored_is_what_walls_and_ends_gave(
    rate_per_s: Array, start_c: Array, place: float, walls_c: tuple[float, float, float]
) -> None:
    """First law: what the strand gains over a minute is the sum of what came through its sides and both ends.

    The flows are added up by Simpson's rule over the engine's own temperatures, from the differences to the walls
    alone; what the parcels pass on to each other must cancel.
    """
    ends, sides_c = np.array(walls_c[:2]), walls_c[2]
    driven = np.zeros((24, 3))
    driven[:, 2] = rate_per_s
    modes = conduction_modes(GRID, place, DIFFUSIVITY, rate_per_s, driven, np.eye(3)[:2])
    step, known = step_matrix(modes, 0.025), np.array([*ends, sides_c] * 2)
    rows = [start_c]
    for _ in range(2400):
        rows.append(step @ np.concatenate([rows[-1], known]))
    temp = np.array(rows)
    plain = DIFFUSIVITY / GRID.cell_mm**2
    flow = (rate_per_s * (sides_c - temp)).sum(axis=1)
    flow += plain / (0.5 + place) * (ends[0] - temp[:, 0]) + plain / (1.5 - place) * (ends[1] - temp[:, -1])

    stored = temp[-1].sum() - temp[0].sum()
    assert abs(stored - simpson(flow, dx=0.025)) < 1e-5 * np.abs(flow).max() + 1e-6


@fast
@given(temperatures, places, st.floats(0.1, 3600.0))
def test_an_insulated_strand_keeps_its_heat(start_c: Array, place: float, seconds: float) -> None:
    """First law: with no exchange and both faces closed, the mean temperature stays, and differences only shrink."""
    rate = np.zeros(24)
    plain = DIFFUSIVITY / GRID.cell_mm**2
    rate[0], rate[-1] = -plain / (0.5 + place), -plain / (1.5 - place)
    modes = conduction_modes(GRID, place, DIFFUSIVITY, rate, np.zeros((24, 1)), np.zeros((2, 1)))
    after = step_matrix(modes, seconds) @ np.concatenate([start_c, [0.0, 0.0]])

    assert abs(after.mean() - start_c.mean()) < 1e-9
    assert after.min() >= start_c.min() - 1e-9
    assert after.max() <= start_c.max() + 1e-9
