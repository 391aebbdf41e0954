"""Temperature and dose of moving parcels, against published transport solutions and plain bookkeeping."""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import erfc, erfcx

from monitor.core.assessment import Array
from monitor.core.dose import cautious_law
from monitor.core.field import Field
from monitor.core.field_building import build_field
from monitor.core.field_state import BEFORE_PATH, FieldState
from monitor.core.propagator import PHASES, Lattice, Propagators, conduction_modes, step_matrix
from monitor.core.stiff_part import StiffPart
from monitor.core.wall_points import WallPoints
from tests.machines import GREY, machine

WALLS = np.array([25.0, 35.0, 195.0, 225.0])


@dataclass
class _PlainRod:
    """Propagators of a rod whose walls are (far end, near end), with an exchange rate that may depend on place."""

    grid: Lattice
    diffusivity_mm2_s: float
    rate_per_s: float = 0.0
    hot_from_mm: float = -1.0  # near wall applies below this x, far wall above

    def step(self, _: int, phase: int, step_s: float) -> Array:
        place = (phase + 0.5) / PHASES
        x_mm = self.grid.centres_mm(place)
        share = np.clip((self.hot_from_mm - x_mm) / self.grid.cell_mm + 0.5, 0.0, 1.0)  # of the cell in the hot zone
        driven = self.rate_per_s * np.stack([1 - share, share], axis=1)
        ends = np.array([[0.0, 1.0], [1.0, 0.0]])
        rate = np.full(self.grid.cells, self.rate_per_s)
        return step_matrix(conduction_modes(self.grid, place, self.diffusivity_mm2_s, rate, driven, ends), step_s)

    def stack(self, places: tuple[tuple[int, int], ...], step_s: float) -> Array:
        return np.stack([self.step(material, phase, step_s) for material, phase in places])


def _rod(rod: _PlainRod) -> Field:
    return Field(
        strands=machine().strands,
        kinds=(0,),
        grid=rod.grid,
        propagators=rod,  # type: ignore[arg-type]  # a stand-in with the same two methods
        law=cautious_law(machine().strands),
        laws=(cautious_law(machine().strands),),
        points=WallPoints(np.array([[0.0, 1.0]] * 3 + [[1.0, 0.0]]), (1, 2, 3, 4)),
        stiff=StiffPart(20, np.zeros((rod.grid.cells - 20, 2)), np.array([[1000.0]]), 1000.0),
        passed=60,
        withdrawn=60,
    )


def _start(field: Field, temp: Array, walls: Array) -> FieldState:
    fresh = field.initial(walls)
    rows = fresh.temp_c.copy()
    rows[0, BEFORE_PATH:] = temp
    log_rate = field.law.log_rate(rows)
    return fresh._replace(temp_c=rows, log_rate=log_rate, rate=np.exp(log_rate))


def _ogata_banks(x_mm: Array, time_s: float, speed_mm_s: float, spread_mm2_s: float) -> Array:
    width = 2 * np.sqrt(spread_mm2_s * time_s)
    ahead, behind = (x_mm - speed_mm_s * time_s) / width, (x_mm + speed_mm_s * time_s) / width
    result: Array = 0.5 * (erfc(ahead) + np.exp(-(ahead**2)) * erfcx(behind))
    return result


@pytest.mark.parametrize(
    ("x_mm", "time_s", "speed", "spread", "printed"),
    [
        (2, 1, 2, 0.1, 0.5440653),
        (10, 5, 2, 1.0, 0.5616071),
        (5, 10, 0.5, 0.1, 0.5553523),
        (20, 60, 0.2, 0.1, 0.0134274),
    ],
)
def test_a_front_carried_in_by_the_strand(
    x_mm: float, time_s: float, speed: float, spread: float, printed: float
) -> None:
    """Ogata & Banks, USGS Professional Paper 411-A (1961): advance and spread of a step at the inlet."""
    assert _ogata_banks(np.array([x_mm]), time_s, speed, spread)[0] == pytest.approx(printed, abs=1e-6)

    grid = Lattice(300, 2.0 * x_mm / 300)
    field = _rod(_PlainRod(grid, spread))
    walls = np.array([1.0, 0.0])  # the far end is the inlet: x there runs against ours
    state = _start(field, np.zeros(grid.cells), walls)
    for _ in range(int(time_s * 4)):
        state = field.advance(state, 0.25, walls, [speed * 0.25])
    inlet_mm = (grid.cells + 0.5) * grid.cell_mm  # the face, to within the half cell that the grid leaves open
    at = np.interp(inlet_mm - x_mm, field.centres_mm(state, 0), field.path_rows(state)[0][0])

    assert at == pytest.approx(printed, abs=0.01)


def test_a_front_inside_spreads_by_conduction_alone() -> None:
    """Carslaw & Jaeger: a front 8 mm in with α (t + 20 s) of spread, moved by 0.2 mm/s for 60 s, stays ½ erfc."""
    grid = Lattice(96, 0.5)
    field = _rod(_PlainRod(grid, 0.1))
    walls = np.array([1.0, 0.0])
    inlet_mm = (grid.cells + 1) * grid.cell_mm
    from_inlet = inlet_mm - grid.centres_mm(0.0)
    state = _start(field, 0.5 * erfc((from_inlet - 8.0) / (2 * np.sqrt(0.1 * 20.0))), walls)
    for _ in range(60):
        state = field.advance(state, 1.0, walls, [0.2])

    at = np.interp(
        inlet_mm - np.array([15.0, 18.0, 20.0, 22.0, 25.0]), field.centres_mm(state, 0), field.path_rows(state)[0][0]
    )
    assert at == pytest.approx([0.894350, 0.691462, 0.5, 0.308538, 0.105650], abs=4e-3)


@pytest.mark.parametrize("speed_mm_s", [0.2, 1.0, 5.0])
def test_steady_strand_through_a_wall_step(speed_mm_s: float) -> None:
    """Constant-coefficient equation: a strand moving from a 25 °C into a 225 °C wall follows two exponentials."""
    grid, rate, step_mm = Lattice(96, 0.42), 0.25, 25.0
    field = _rod(_PlainRod(grid, 0.1, rate, hot_from_mm=step_mm))
    walls = np.array([25.0, 225.0])
    state = field.initial(walls)
    for _ in range(int(max(80, 160 / speed_mm_s))):
        state = field.advance(state, 1.0, walls, [speed_mm_s])
    root = np.sqrt(speed_mm_s**2 + 4 * 0.1 * rate)
    r1, r2 = (speed_mm_s + root) / 0.2, (speed_mm_s - root) / 0.2
    gain = 200 * r2 / (r2 - r1)
    along = step_mm - field.centres_mm(state, 0)  # in the direction of feed
    before = 25 + gain * np.exp(np.minimum(0.0, r1 * along))
    exact = np.where(along < 0, before, 225 + (gain - 200) * np.exp(np.minimum(0.0, r2 * along)))
    inside = field.centres_mm(state, 0) > 4.0

    assert np.abs(field.path_rows(state)[0][0] - exact)[inside].max() < 4.0  # 0.05 mm at the 90 K/mm of the step


def test_retractions_leave_the_dose_as_it_was() -> None:
    """A thousand retractions of 0.8 mm and their returns move no dose between parcels: same sum, same pattern."""
    field = build_field(machine())
    state = field.initial(WALLS)
    for _ in range(60):
        state = field.advance(state, 60.0, WALLS, [0.0])
    aged = field.path_rows(state)[1][0]
    for _ in range(1000):
        state = field.advance(state, 0.5, WALLS, [-0.8])
        state = field.advance(state, 0.5, WALLS, [0.8])
    still = build_field(machine()).initial(WALLS)
    for _ in range(60 + 16):
        still = field.advance(still, 60.0, WALLS, [0.0])
    still = field.advance(still, 40.0, WALLS, [0.0])

    after = field.path_rows(state)[1][0]
    assert state.fed_mm[0] == pytest.approx(0.0, abs=1e-9)
    assert after.max() <= field.path_rows(still)[1][0].max() * 1.001
    assert after[:20] - aged[:20] == pytest.approx(field.path_rows(still)[1][0][:20] - aged[:20], rel=0.02)


def test_a_quick_retraction_and_return_is_undone_exactly() -> None:
    """Parcels are renumbered, not copied: after a return every parcel has its own dose again, plus what it aged."""
    field = build_field(machine())
    state = field.initial(WALLS)
    state = field.advance(state, 3600.0, WALLS, [0.0])
    there = field.advance(state, 1e-6, WALLS, [-7.3])
    back = field.advance(there, 1e-6, WALLS, [7.3])

    assert back.places == state.places
    assert field.path_rows(back)[1] == pytest.approx(field.path_rows(state)[1], abs=1e-6)


def test_withdrawn_and_reloaded_strand_keeps_its_dose() -> None:
    """A strand pulled 150 mm out of the path and pushed back has not become young again."""
    field = build_field(machine())
    state = field.advance(field.initial(WALLS), 7200.0, WALLS, [0.0])
    worst = field.path_rows(state)[1].max()
    out = field.advance(state, 60.0, WALLS, [-50.0])
    far_out = field.advance(out, 60.0, WALLS, [-100.0])
    back = field.advance(far_out, 60.0, WALLS, [150.0])

    assert field.path_rows(out)[1][0, -10:].max() > 0.9 * worst  # the aged part now stands in the cold end
    assert field.path_rows(back)[1].max() >= worst


def test_feeding_the_path_length_renews_the_strand() -> None:
    """Once more than the path has been fed, nothing of the aged material is left upstream of the merge point."""
    field = build_field(machine())
    state = field.advance(field.initial(WALLS), 7200.0, WALLS, [0.0])
    aged = field.path_rows(state)[1].max()
    for _ in range(60):
        state = field.advance(state, 1.0, WALLS, [1.0])

    assert field.path_rows(state)[1].max() < 0.02 * aged


@settings(max_examples=30, deadline=None)
@given(moves=st.lists(st.floats(-6.0, 9.0), max_size=12))
def test_any_feed_keeps_temperatures_between_the_walls(moves: list[float]) -> None:
    """Heat flows from hot to cold only: no parcel is ever colder than the coldest wall or hotter than the hottest."""
    field = build_field(machine(2))
    state = field.initial(WALLS)
    for moved_mm in moves:
        state = field.advance(state, 1.0, WALLS, [moved_mm, 0.0])

    assert field.path_rows(state)[0].min() >= 25.0 - 1e-6
    assert field.path_rows(state)[0].max() <= 195.0 + 1e-6
    assert (state.dose_min >= 0.0).all()


def test_states_are_immutable() -> None:
    """A forecast run from a state cannot disturb it: its arrays refuse to be written."""
    state = build_field(machine()).initial(WALLS)

    with pytest.raises(ValueError, match="read-only"):
        state.temp_c[0, 0] = 1.0
    with pytest.raises(ValueError, match="read-only"):
        state.dose_min[0, 0] = 1.0


def test_one_long_step_equals_many_short_ones() -> None:
    """The propagator is exact in time: an hour at once and in seconds agree for a standing strand."""
    field = build_field(machine())
    ramped = WALLS + np.array([0.0, 4.0, 10.0, 0.0])
    once = field.advance(field.initial(WALLS), 3600.0, ramped, [0.0])
    bit_by_bit = field.initial(WALLS)
    for second in range(3600):
        bit_by_bit = field.advance(bit_by_bit, 1.0, WALLS + (ramped - WALLS) * (second + 1) / 3600, [0.0])

    assert np.abs(once.temp_c - bit_by_bit.temp_c).max() < 1e-7


def test_strands_do_not_influence_each_other() -> None:
    """A strand's row is the same whether it is alone or beside others that feed."""
    alone, together = build_field(machine(1)), build_field(machine(3))
    one, three = alone.initial(WALLS), together.initial(WALLS)
    for _ in range(50):
        one = alone.advance(one, 1.0, WALLS, [0.0])
        three = together.advance(three, 1.0, WALLS, [1.3, 0.0, -0.2])

    assert np.abs(three.temp_c[1] - one.temp_c[0]).max() < 1e-9
    assert three.dose_min[1] == pytest.approx(one.dose_min[0], rel=1e-9)
    assert GREY is together.strands[1].material


def test_propagators_are_shared_by_equal_materials() -> None:
    """Strands of one material use one set of operators."""
    field = build_field(machine(6))

    assert field.kinds == (0,) * 6
    assert isinstance(field.propagators, Propagators)
