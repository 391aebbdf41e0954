"""How long moves take and how far they go: against hand-worked cases, closed forms, slow loops and scipy."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import linprog

from monitor.build_file import MotionSettings
from monitor.build_file.arcs import arcs
from monitor.build_file.look_ahead import SpeedPlanner
from monitor.build_file.move_table import Moves
from monitor.build_file.settings import NO_LIMIT, AxisLimits
from monitor.build_file.words import Floats
from tests.build_file_examples import AT_ONCE, counted, read

SLOW = MotionSettings(acceleration_mm_s2=1000.0, corner_deviation_mm=0.01)
NUMBERS = st.floats(0.01, 300.0)


def table(length: Floats, speed: Floats, acceleration: Floats, corner: Floats) -> Moves:
    """Moves with nothing but what their times depend on."""
    zeros = np.zeros(len(length))
    return Moves(np.arange(len(length)), length, speed, acceleration, corner, zeros, zeros, zeros, zeros)


def times(moves: Moves, piece: int = 10**9) -> Floats:
    """Times of all moves, handed in piece by piece."""
    planner = SpeedPlanner()
    starts = range(0, len(moves.line), piece)
    found = [planner.add(Moves._make(column[start : start + piece] for column in moves)) for start in starts]
    found.append(planner.add(Moves._make(column[:0] for column in moves), is_end=True))
    return np.concatenate([timed.time_s for timed in found if timed is not None])


def two_passes(moves: Moves) -> list[float]:
    """Times by the usual loops: backwards for slowing down, forwards for speeding up, then move by move."""
    squared = [0.0, *moves.corner_mm2_s2[1:].tolist(), 0.0]
    length, speed, acceleration = (moves[place].tolist() for place in (1, 2, 3))
    for k in reversed(range(len(length))):
        squared[k] = min(squared[k], squared[k + 1] + 2 * acceleration[k] * length[k])
    for k in range(len(length)):
        squared[k + 1] = min(squared[k + 1], squared[k] + 2 * acceleration[k] * length[k])
    return [
        one_time(length[k], speed[k], acceleration[k], math.sqrt(squared[k]), math.sqrt(squared[k + 1]))
        for k in range(len(length))
    ]


def one_time(length: float, speed: float, acceleration: float, start: float, end: float) -> float:
    """Textbook trapezoid or triangle."""
    ramps = (2 * speed**2 - start**2 - end**2) / (2 * acceleration)
    if ramps <= length:
        return (2 * speed - start - end) / acceleration + (length - ramps) / speed
    peak = math.sqrt(acceleration * length + (start**2 + end**2) / 2)
    return (2 * peak - start - end) / acceleration


class TestTrapezoids:
    """Single moves and a few in a row, worked by hand from v = a t and s = a t² / 2."""

    @pytest.mark.parametrize(
        ("move", "time_s"),
        [
            ("G1 X100 F6000", 1.1),  # 0.1 s and 5 mm for each ramp to 100 mm/s, 90 mm at it: 0.1 + 0.9 + 0.1
            ("G1 X10 F6000", 0.2),  # exactly a triangle up to 100 mm/s: 2 x 0.1 s
            ("G1 X2.5 F6000", 0.1),  # a triangle up to 50 mm/s: 2 x 0.05 s
            ("G1 X3 Y4 F600", 0.51),  # 5 mm at 10 mm/s: 0.5 s and v/a = 0.01 s more
            ("G1 X60 Y80 F6000", 1.1),  # 100 mm
            ("G1 E100 F6000", 1.1),  # feed alone has the same law
        ],
    )
    def test_one_move(self, move: str, time_s: float) -> None:
        """From rest to rest at 1000 mm/s²."""
        assert read(move + "\n", SLOW).duration.planned_s == pytest.approx(time_s, abs=1e-9)

    def test_straight_on_does_not_slow_down(self) -> None:
        """A hundred moves in a line take as long as one."""
        text = "".join(f"G1 X{number} F6000\n" for number in range(1, 101))
        assert read(text, SLOW).duration.planned_s == pytest.approx(1.1, abs=1e-9)

    def test_right_angle(self) -> None:
        """A corner of 90° at a = 1000 and d = 0.01: v² = a d s / (1 - s) with s = sin 45°, so 4.9135 mm/s."""
        corner = math.sqrt(1000 * 0.01 * math.sqrt(0.5) / (1 - math.sqrt(0.5)))
        assert corner == pytest.approx(4.9135, abs=1e-4)
        leg_s = 1.1 - corner / 1000 + corner**2 / 2 / 1000 / 100  # starts slower or ends faster than from rest
        text = "G1 X100 F6000\nG1 Y100\n"
        assert read(text, SLOW).duration.planned_s == pytest.approx(2 * leg_s, abs=1e-9)

    def test_turning_back_is_a_full_stop(self) -> None:
        """Reversal has no corner speed."""
        assert read("G1 X100 F6000\nG1 X0\n", SLOW).duration.planned_s == pytest.approx(2.2, abs=1e-6)

    def test_sudden_change_of_speed(self) -> None:
        """With a step of 8 mm/s per axis, a corner of 90° is taken at 8 mm/s; M205 X says the same in the file."""
        leg_s = 1.1 - 8 / 1000 + 64 / 2 / 1000 / 100
        text = "G1 X100 F6000\nG1 Y100\n"
        by_profile = read(text, replace(SLOW, corner_speed_mm_s=8.0)).duration.planned_s
        by_file = read("M205 X8 Y8\n" + text, SLOW).duration.planned_s
        assert [by_profile, by_file] == pytest.approx([2 * leg_s, 2 * leg_s])
        back = read("M205 X8 Y8\nM205 J0.01\n" + text, SLOW).duration.planned_s
        assert back == pytest.approx(read(text, SLOW).duration.planned_s)

    @pytest.mark.parametrize("stop", ["G4 P0", "M400", "G1 E1 F6000\nG1 E0", "T1", "M109 S0"])
    def test_stops(self, stop: str) -> None:
        """Whatever has to wait for the axes to stand costs the ramps of a full stop."""
        plain = replace(SLOW, toolchange_s=0.0)
        text = f"G1 X100 F6000\n{stop}\nG1 X200\n"
        extra_s = 2 * (2 * math.sqrt(1 / 1000)) if "E" in stop else 0.0  # two triangles of 1 mm
        assert read(text, plain).duration.planned_s == pytest.approx(2.2 + extra_s, abs=1e-9)

    def test_temperature_and_fan_do_not_stop(self) -> None:
        """Commands that the controller takes in passing cost nothing."""
        text = "G1 X100 F6000\nM104 S0\nM106 S99\n; layer\nG1 X200\n"
        assert read(text, SLOW).duration.planned_s == pytest.approx(2.1, abs=1e-9)


class TestLimits:
    """Limits of axes and moves, in the profile and in the file."""

    @pytest.mark.parametrize(
        ("before", "time_s"),
        [
            ("M204 P500", 1.2),  # twice as long ramps: 0.2 + 80/100 + 0.2
            ("M204 S500", 1.2),
            ("M204 T500 R500", 1.1),  # travel and retraction only
            ("M201 X500", 1.2),
            ("M201 Y500", 1.1),  # another axis
            ("M203 X50", 2.05),  # 50 mm/s: 2 s and v/a = 0.05 s
            ("M220 S50", 2.05),
            ("M203 E0.5", 2.05),  # 1 mm of feed in 100 mm: the feed axis is the slower one
            ("M201 E5", 1.2),
        ],
    )
    def test_file(self, before: str, time_s: float) -> None:
        """100 mm with 1 mm of feed at 100 mm/s and 1000 mm/s²."""
        found = read(f"{before}\nG1 X100 E1 F6000\n", SLOW)
        assert found.duration.planned_s == pytest.approx(time_s, abs=1e-9)
        assert found.limits_known == (before in {"M204 P500", "M204 S500"})

    def test_profile(self) -> None:
        """The same limits from the profile; a diagonal has the axis' share of it."""
        fast = replace(SLOW, axis_speeds_mm_s=AxisLimits(x=30.0))
        assert read("G1 X60 Y80 F6000\n", fast).duration.planned_s == pytest.approx(100 / 50 + 50 / 1000)
        soft = replace(SLOW, axis_accelerations_mm_s2=AxisLimits(z=100.0))
        assert read("G1 Z100 F600\n", soft).duration.planned_s == pytest.approx(10.0 + 10 / 100)

    def test_the_file_goes_before_the_profile(self) -> None:
        """And only from its line on."""
        soft = replace(SLOW, acceleration_mm_s2=500.0)
        text = "G1 X100 E1 F6000\nG4 P0\nM204 P1000\nG1 X200 E2\n"
        assert read(text, soft).duration.planned_s == pytest.approx(1.2 + 1.1, abs=1e-9)

    def test_a_limit_later_in_the_block_changes_nothing_before(self) -> None:
        """However much more the feed moves than the axes."""
        text = "G1 Z1 E9 F1800\n"
        assert read(text + "M201 Z1 E9\n").duration == read(text).duration

    def test_speeds_per_minute(self) -> None:
        """Some dialects have M203 in mm/min."""
        text = "M203 X3000\nG1 X100 F6000\n"
        assert read(text, replace(SLOW, speeds_per_minute=True)).duration.planned_s == pytest.approx(2.05)

    @pytest.mark.parametrize(
        "command", ["M204 P0", "M203 X-5", "M201 X0", "M205 J0", "M220 S0", "M207 S-1", "M221 S-1"]
    )
    def test_impossible_limits_are_told(self, command: str) -> None:
        """A limit of 0 would stop the build for ever; it is not believed."""
        found = read(f"{command}\nG1 X100 E1 F6000\n", SLOW)
        assert found.duration.planned_s == pytest.approx(1.1)
        assert [row.first_line for row in found.notes] == [1]

    def test_range(self) -> None:
        """Limits known: -3 to +10 % of the motion; unknown: -5 to +60 %; the rest as it is: a judgement."""
        text = "G1 X100 E1 F6000\nG4 S10\nT1\n"
        unknown = read(text, SLOW).duration
        known = read(text, replace(SLOW, is_acceleration_known=True)).duration
        assert unknown == pytest.approx((0.95 * 1.1 + 30, 1.1 + 30, 1.6 * 1.1 + 30))
        assert known == pytest.approx((0.97 * 1.1 + 30, 1.1 + 30, 1.1 * 1.1 + 30))


class TestLookAhead:
    """Many moves."""

    @settings(max_examples=150, deadline=None)
    @given(
        st.lists(st.tuples(NUMBERS, NUMBERS, st.floats(1.0, 5000.0), st.floats(0.0, 1.0)), min_size=1, max_size=60),
        st.integers(1, 70),
    )
    def test_equal_to_the_two_loops(self, rows: list[tuple[float, float, float, float]], piece: int) -> None:
        """Running minima give the times of the usual loops, in one piece or in many."""
        length, speed, acceleration, corner = np.array(rows).T
        slower = np.minimum(speed, np.concatenate([[0.0], speed[:-1]]))
        moves = table(length, speed, acceleration, (slower * corner) ** 2)
        expected = two_passes(moves)
        rounding = 2.3e-16 * float((2 * acceleration * length).sum())  # of v² in the running sum
        error_s = 4 * math.sqrt(rounding) / float(acceleration.min()) + 1e-9
        assert times(moves) == pytest.approx(expected, abs=error_s)
        assert times(moves, piece) == pytest.approx(expected, abs=error_s)

    def test_long_random_path(self) -> None:
        """Sixty thousand moves in pieces of 7000: every single time within a microsecond of the loops'."""
        random = np.random.default_rng(5)
        count = 60_000
        speed = random.choice(np.array([20.0, 60.0, 150.0]), count)
        slower = np.minimum(speed, np.roll(speed, 1))
        length, acceleration = random.gamma(1.0, 1.0, count) + 0.01, random.choice(np.array([300.0, 1500.0]), count)
        moves = table(length, speed, acceleration, (slower * random.random(count) ** 2) ** 2)
        assert np.abs(times(moves, 7000) - np.array(two_passes(moves))).max() < 1e-6

    @pytest.mark.parametrize("seed", range(8))
    def test_no_plan_is_faster(self, seed: int) -> None:
        """Corner speeds are the optimum of a linear programme in v² (scipy's solver): none can be higher."""
        random = np.random.default_rng(seed)
        count = 30
        length, acceleration = random.gamma(1.0, 2.0, count), random.choice(np.array([200.0, 1000.0]), count)
        speed = random.choice(np.array([20.0, 80.0]), count)
        corner = (np.minimum(speed, np.roll(speed, 1)) * random.random(count)) ** 2
        steps = np.diff(np.eye(count + 1), axis=0)
        room = 2 * acceleration * length
        bounds = [(0, 0), *((0, cap) for cap in corner[1:]), (0, 0)]
        best = linprog(-np.ones(count + 1), np.vstack([steps, -steps]), np.concatenate([room, room]), bounds=bounds)
        squared = np.maximum(best.x, 0.0)
        expected = [
            one_time(length[k], speed[k], acceleration[k], math.sqrt(squared[k]), math.sqrt(squared[k + 1]))
            for k in range(count)
        ]
        assert times(table(length, speed, acceleration, corner)) == pytest.approx(expected, rel=1e-5, abs=1e-6)

    @pytest.mark.parametrize(("start", "end", "length"), [(0.0, 0.0, 3.0), (10.0, 40.0, 5.0), (50.0, 0.0, 40.0)])
    def test_time_is_the_integral_of_slowness(self, start: float, end: float, length: float) -> None:
        """The time of a move is the integral of ds/v(s) along its speed profile (scipy's quadrature)."""
        acceleration, speed = 400.0, 60.0

        def slowness(way: float) -> float:
            up, down = start**2 + 2 * acceleration * way, end**2 + 2 * acceleration * (length - way)
            return 1.0 / math.sqrt(min(up, down, speed**2))

        turns = [
            (speed**2 - start**2) / 800,
            length - (speed**2 - end**2) / 800,
            (end**2 - start**2) / 1600 + length / 2,
        ]
        points = sorted(turn for turn in turns if 0 < turn < length)
        (expected, _) = quad(slowness, 0, length, points=points, limit=200)
        assert one_time(length, speed, acceleration, start, end) == pytest.approx(expected, rel=1e-4)

    def test_machines_that_hardly_brake_are_bounded(self) -> None:
        """With next to no acceleration moves wait for ever; only so many of them are held."""
        count = 120_000
        ones = np.ones(count)
        moves = table(ones * 0.01, ones * 5000.0, ones * 0.001, ones * 25e6)
        planner = SpeedPlanner()
        done = sum(
            len(timed.time_s)
            for start in range(0, count, 10_000)
            if (timed := planner.add(Moves._make(column[start : start + 10_000] for column in moves))) is not None
        )
        assert done >= count - 60_000


class TestArcs:
    """Arcs against closed forms."""

    @pytest.mark.parametrize(
        ("move", "length_mm"),
        [
            ("G2 X20 I10 F600", 10 * math.pi),  # half a circle of radius 10
            ("G3 X20 I10 F600", 10 * math.pi),
            ("G3 X10 Y10 I10 F600", 1.5 * math.pi * 10),  # from 180° to 90° the long way
            ("G2 X10 Y10 I10 F600", 0.5 * math.pi * 10),  # and the short one
            ("G2 I10 F600", 2 * math.pi * 10),  # full circle
            ("G2 X0 Y0 I6 J8 F600", 2 * math.pi * 10),
            ("G2 X20 Z15 I10 F600", math.hypot(10 * math.pi, 15)),  # helix
            ("G3 I10 Z-5 F600", math.hypot(20 * math.pi, 5)),
            ("G2 X20 R10 F600", 10 * math.pi),
            ("G2 X10 Y10 R10 F600", 5 * math.pi),
            ("G2 X10 Y10 R-10 F600", 15 * math.pi),
            ("G3 X10 Y10 R-10 F600", 15 * math.pi),
            ("G18\nG2 X20 I10 F600", 10 * math.pi),
            ("G18\nG3 X10 Z10 K10 F600", 1.5 * math.pi * 10),  # seen from +Y, Z is the first axis and X the second
            ("G18\nG2 X10 Z10 K10 F600", 0.5 * math.pi * 10),
            ("G19\nG3 Y10 Z10 J10 F600", 1.5 * math.pi * 10),
            ("G19\nG2 Y20 X9 J10 F600", math.hypot(10 * math.pi, 9)),
            ("G90.1\nG2 X20 I10 J0 F600", 10 * math.pi),
            ("G91\nG1 X5 F6e0\nG2 X20 I10 F600", 10 * math.pi),
            ("G20\nG2 X2 I1 F60", 25.4 * math.pi),
        ],
    )
    def test_length(self, move: str, length_mm: float) -> None:
        """The way along an arc, read off its time at constant speed."""
        speed_mm_s = 25.4 if "G20" in move else 10.0
        before_s = 5 / 0.1 if "F6e0" in move else 0.0
        found = read(move.replace("F6e0", "F6") + "\n").duration.planned_s - before_s
        assert found * speed_mm_s == pytest.approx(length_mm, rel=1e-5)

    @pytest.mark.parametrize("move", ["G2 X20 R5", "G2 R5", "G2 X20 I3"])
    def test_misses_are_told(self, move: str) -> None:
        """A radius too small, a full circle by radius, a centre that is not in the middle."""
        found = read(f"G1 X0.1 F600\nG91\n{move}\nG1 X1\n")
        assert counted(found.notes) == {"arc that misses its end": (1, 3)} or "G2 R5" in move
        assert math.isfinite(found.duration.planned_s)

    @given(
        st.floats(0.1, 50),
        st.floats(0, 2 * math.pi),
        st.floats(0.01, 2 * math.pi - 0.01),
        st.booleans(),
        st.sampled_from([17, 18, 19]),
        st.floats(-20, 20),
    )
    def test_ends_and_length_of_any(
        self,
        radius: float,
        angle: float,
        sweep: float,
        clockwise: bool,  # noqa: FBT001 -- drawn by hypothesis
        plane: int,
        rise: float,
    ) -> None:
        """A helix built from its angles: length by r and sweep, directions by the derivative, in any plane."""
        turn = -1 if clockwise else 1
        axes = {17: [0, 1, 2], 18: [2, 0, 1], 19: [1, 2, 0]}[plane]

        def at(share: float) -> Floats:
            here = angle + turn * sweep * share
            place = np.zeros(3)
            place[axes] = [radius * math.cos(here), radius * math.sin(here), rise * share]
            return place

        centre = np.zeros(3)
        centre[axes] = [-radius * math.cos(angle), -radius * math.sin(angle), 0.0]
        found = arcs((at(1) - at(0))[None], centre[None], np.array([np.nan]), np.array([clockwise]), np.array([plane]))
        tiny = 1e-6
        assert found.length_mm[0] == pytest.approx(math.hypot(radius * sweep, rise), rel=1e-6)
        length = math.hypot(radius * sweep, rise)
        assert found.start[0] == pytest.approx((at(tiny) - at(0)) / tiny / length, abs=1e-4)
        assert found.end[0] == pytest.approx((at(1) - at(1 - tiny)) / tiny / length, abs=1e-4)
        assert not found.is_off[0]

    def test_tight_arcs_are_slower(self) -> None:
        """On a circle v² / r is no more than the acceleration: radius 0.9 mm at 1000 mm/s² means 30 mm/s."""
        found = read("G1 X0 Y10 F6000\nG2 I0.9\n", SLOW).duration.planned_s  # the arc goes on where the line ends
        around = 2 * math.pi * 0.9
        assert found == pytest.approx(one_time(10, 100, 1000, 0, 30) + one_time(around, 30, 1000, 30, 0), abs=1e-6)

    def test_feed_and_corners_of_arcs(self) -> None:
        """An arc feeds its E evenly, and a line that leaves along its tangent needs no slowing down."""
        smooth = "G1 X100 F6000\nG3 X200 Y100 J100 E5\nG1 Y200\n"
        quarter = 50 * math.pi
        found = read(smooth, SLOW)
        assert found.duration.planned_s == pytest.approx((200 + quarter) / 100 + 0.1, rel=1e-6)
        assert found.inputs[0].first_s == pytest.approx(1.05)
        assert found.inputs[0].last_s == pytest.approx(1.05 + quarter / 100)


def test_speed_holds_until_changed() -> None:
    """F is per minute and sticky, also that of G0, and of a line with F alone: RS274/NGC 2.1.2.5."""
    text = "G1 X10 F600\nG1 X20\nG0 X30 F1200\nG1 X40\nF60\nG1 X41\nG1 F600\nG1 X51\n"
    assert read(text, AT_ONCE).duration.planned_s == pytest.approx(1 + 1 + 0.5 + 0.5 + 1 + 1, abs=1e-6)


def test_an_acceleration_without_limit_means_at_once() -> None:
    """The settings of the composed files: hardly any time for ramps."""
    assert AT_ONCE.acceleration_mm_s2 == NO_LIMIT
    assert read("G1 X1 F60\n").duration.planned_s == pytest.approx(1.0, abs=1e-6)
