"""What the commands of a build file mean, one by one.

RS274/NGC for units, planes, distances, G92 and pauses; all else is common practice, no source.
"""

import math
from dataclasses import replace

import pytest

from monitor.build_file import BuildSchedule, MotionSettings
from monitor.build_file.schedule import Heater
from tests.build_file_examples import AT_ONCE, counted, read


def fed(text: str, settings: MotionSettings = AT_ONCE) -> dict[int, float]:
    """Net feed of every input."""
    return {plan.number: round(plan.fed_mm, 9) for plan in read(text, settings).inputs}


def planned_s(text: str, settings: MotionSettings = AT_ONCE) -> float:
    """Planned time."""
    return read(text, settings).duration.planned_s


class TestPositions:
    """Absolute, relative, inches, resets."""

    @pytest.mark.parametrize(
        ("text", "length_mm"),
        [
            ("G1 X10 F60\nG1 X15", 15),
            ("G91\nG1 X10 F60\nG1 X15", 25),
            ("G91\nG1 X10 F60\nG90\nG1 X15", 15),
            ("G91 G1 X10 F60\nG1 X5", 15),  # several G words on a line
            ("G1 X10 F60\nG92 X0\nG1 X15", 25),
            ("G1 X10 F60\nG92\nG1 X15", 25),  # all axes to zero: common practice, no source
            ("G1 X10 F60\nG28 X\nG1 X15", 25),  # homing itself is of unknown length
            ("G1 X10 F60\nG28 Y\nG1 X15", 15),
            ("G1 X10 F60\nX15\nY5", 20),  # motion holds
            ("G1 X10 F60\nG80\nX15", 10),  # and is taken back
            ("G1 X10 F60\nM106 X99 S5\nG4 X3 P0\nG1 X11", 11),  # words of other commands
            ("G20\nG1 X1 F60", 25.4 / 25.4),  # an inch at 60 in/min
            ("G20\nG1 X1 F60\nG21\nG1 X0 F60", 1 + 25.4),
            ("G1 X10 F60\nG92 X-5\nG91\nG1 X3\nG90\nG1 X0", 10 + 3 + 2),
        ],
    )
    def test_way(self, text: str, length_mm: float) -> None:
        """The way gone at 1 mm/s, read off the time."""
        assert planned_s(text + "\n") == pytest.approx(length_mm, abs=1e-6)

    @pytest.mark.parametrize(
        ("text", "feed_mm"),
        [
            ("G1 E3\nG1 E5", 5),
            ("M83\nG1 E3\nG1 E5", 8),
            ("M83\nG1 E3\nM82\nG1 E5", 5),
            ("G91\nG1 E3\nG1 E5", 5),  # G91 leaves the feed alone, unless the profile says otherwise
            ("G1 E3\nG92 E0\nG1 E5", 8),
            ("G1 E3\nG92 E10\nG1 E5", -2),
            ("G1 E3\nG92 X0\nG1 E5", 5),
            ("G20\nG1 E1", 25.4),
            ("M221 S50\nG1 E10", 5),
            ("M221 S50 T1\nG1 E10", 10),
            ("M200 D1.75\nG1 E10", 10 / (math.pi * 1.75**2 / 4)),  # mm³
            ("M200 D1.75\nM200 D0\nG1 E10", 10),
        ],
    )
    def test_feed(self, text: str, feed_mm: float) -> None:
        """Net feed of the first input."""
        assert fed(text + "\n") == {1: pytest.approx(feed_mm)}

    def test_g91_may_switch_the_feed(self) -> None:
        """By an option."""
        text = "G91\nG1 E3\nG1 E5\nG90\nG1 E0\n"
        assert fed(text) == {1: 0.0}
        assert fed(text, replace(AT_ONCE, g90_sets_e=True)) == {1: 0.0}
        assert fed("G91\nG1 E3\nG1 E5\n", replace(AT_ONCE, g90_sets_e=True)) == {1: 8.0}

    def test_feed_positions_of_tools(self) -> None:
        """Shared by all tools, or one for each, by an option; resets are of the active one."""
        text = "G1 E10\nT1\nG1 E4\nG92 E0\nT0\nG1 E12\nT1\nG1 E1\n"
        assert fed(text) == {1: 10.0 + 12.0, 2: -6.0 - 11.0}
        assert fed(text, replace(AT_ONCE, e_per_tool=True)) == {1: 12.0, 2: 5.0}


class TestTools:
    """Which input feeds."""

    def test_default(self) -> None:
        """Tool 0 is input 1; another first tool moves that along."""
        assert fed("G1 E1\nT1\nG1 E3\nT5\nG1 E6\n") == {1: 1.0, 2: 2.0, 6: 3.0}
        assert fed("G1 E1\nT2\nG1 E3\n", replace(AT_ONCE, first_tool=1)) == {1: 1.0, 2: 2.0}

    def test_profile(self) -> None:
        """Tools and mixes as the profile has them."""
        tools = {0: ((4, 1.0),), 7: ((1, 0.25), (2, 0.75))}
        schedule = read("G1 E1\nT7\nG1 E5\n", replace(AT_ONCE, tools=tools))
        assert {plan.number: plan.fed_mm for plan in schedule.inputs} == {1: 1.0, 2: 3.0, 4: 1.0}
        assert schedule.tools == {0: tools[0], 7: tools[7]}

    def test_tools_without_an_input_are_told(self) -> None:
        """Their feed is nobody's."""
        schedule = read("G1 E1\nT3\nG1 E5\nT-1\nG1 E6\n", replace(AT_ONCE, inputs=2))
        assert {plan.number: plan.fed_mm for plan in schedule.inputs} == {1: 1.0}
        assert schedule.unassigned_mm == 5.0
        assert counted(schedule.notes) == {"tool 3 feeds no known input": (1, 2)}

    @pytest.mark.parametrize("line", ["M104 T1 S0", "M109 T1 S0", "G10 P1 T1 S0", "M117 T1", "; T1", "M221 T1 S50"])
    def test_parameters_select_nothing(self, line: str) -> None:
        """A T beside another command is its parameter."""
        assert fed(f"{line}\nG1 E1\n") == {1: 1.0}

    def test_change_by_m6(self) -> None:
        """By an option, T selects and M6 changes, before or after it on a line or alone."""
        settings = replace(AT_ONCE, changes_on_m6=True)
        assert fed("T1\nG1 E1\nM6\nG1 E3\nT2 M6\nG1 E6\nM6 T3\nG1 E10\n", settings) == {1: 1.0, 2: 2.0, 3: 3.0, 4: 4.0}
        assert fed("T1 M6\nG1 E1\n") == {2: 1.0}

    def test_changes_take_time(self) -> None:
        """Each change to another tool, none to the same."""
        schedule = read("T0\nT1\nT1\nT0\nG1 E1 F60\n")
        assert schedule.times.tool_changes == 2
        assert schedule.times.change_s == 14.0
        assert schedule.duration.planned_s == pytest.approx(15.0)

    @pytest.mark.parametrize("line", ["T", "T1.5", "T99999"])
    def test_odd_tools_are_counted(self, line: str) -> None:
        """They change nothing."""
        schedule = read(f"{line}\nG1 E1\n")
        assert [row.first_line for row in schedule.unknown] == [1]
        assert schedule.inputs[0].number == 1


class TestMixes:
    """Mixes in the file."""

    def test_weights_are_kept_for_a_tool(self) -> None:
        """M163 and M164: weights over their sum."""
        text = "M163 S0 P1\nM163 S1 P0\nM163 S2 P3\nM164 S8\nG1 E1\nT8\nG1 E5\n"
        assert fed(text) == {1: 2.0, 3: 3.0}

    def test_weights_at_once(self) -> None:
        """By an option, M163 acts at once."""
        text = "M163 S0 P1\nM163 S1 P1\nG1 E10\n"
        assert fed(text) == {1: 10.0}
        assert fed(text, replace(AT_ONCE, mixes_at_once=True)) == {1: 5.0, 2: 5.0}

    def test_letters(self) -> None:
        """M165: A, B, C, D, H and I are the six weights."""
        assert fed("M165 A1 B1 I2\nG1 E8\n") == {1: 2.0, 2: 2.0, 6: 4.0}

    def test_factors(self) -> None:
        """M567: factors as they are, not over their sum."""
        assert fed("M567 P2 E0.5:1:0:2\nT2\nG1 E10\n") == {1: 5.0, 2: 10.0, 4: 20.0}

    @pytest.mark.parametrize("line", ["M163 S99 P1", "M163 S0 P-1", "M163 S0", "M165 X1", "M164"])
    def test_impossible_mixes_are_told(self, line: str) -> None:
        """And change nothing."""
        schedule = read(f"{line}\nG1 E1\n")
        assert [row.first_line for row in schedule.notes] == [1]
        assert schedule.inputs[0].number == 1


class TestRetraction:
    """What the controller does by itself."""

    def test_back_and_forth_is_nothing_new(self) -> None:
        """G10 and G11: net zero, and time at the retraction's speed; a second G10 does nothing."""
        plan = (schedule := read("G1 E5 F60\nG10\nG10\nG4 S60\nG11\nG11\nG1 E6\n")).inputs[0]
        assert [plan.fed_mm, plan.new_mm] == pytest.approx([6.0, 6.0])
        assert schedule.duration.planned_s == pytest.approx(6 + 60 + 2 * 2 / 40)
        assert plan.gap_s == pytest.approx(60.1)

    def test_lengths_from_the_file(self) -> None:
        """M207 and M208."""
        plan = read("M207 S3 F600\nM208 S0.5 F300\nG1 E5 F60\nG10\nG11\nG4 S9\nG10\n").inputs[0]
        assert plan.fed_mm == pytest.approx(5 + 0.5 - 3)
        assert plan.new_mm == pytest.approx(5.5)

    @pytest.mark.parametrize("line", ["G10 P1 S200 R150", "G10 P0 X1 Y2", "G10 L2 P1 X5", "G10 L20 P1 Z0"])
    def test_other_meanings(self, line: str) -> None:
        """With words, G10 sets temperatures or offsets, and feeds nothing."""
        assert fed(f"G1 E5\n{line}\n") == {1: 5.0}

    def test_long_retractions_have_rows_of_their_own(self) -> None:
        """A strand drawn out of the melt is told as such, so that a model can follow where it is."""
        rows = read("G1 E50 F600\nG1 E-30\nG4 S100\nG1 E50\nG1 E60\n").inputs[0].stretches
        assert rows.feed_mm.tolist() == pytest.approx([50.0, -80.0, 80.0, 10.0])
        assert rows.new_mm.tolist() == pytest.approx([50.0, 0.0, 0.0, 10.0])


class TestHeat:
    """Set points and waits."""

    def rows(self, text: str) -> list[tuple[int, str, int, float, bool, bool]]:
        """All but the times."""
        return [tuple(row[:6]) for row in read(text + "\nG1 X1\n").set_points]  # type: ignore[misc]  # six of them

    @pytest.mark.parametrize(
        ("text", "row"),
        [
            ("M104 S210", (1, "tool", 0, 210.0, False, False)),
            ("M104 T2 S210", (1, "tool", 2, 210.0, False, True)),
            ("M109 S210", (1, "tool", 0, 210.0, True, False)),
            ("M109 R180", (1, "tool", 0, 180.0, True, False)),
            ("M140 S60", (1, "plate", 0, 60.0, False, False)),
            ("M140 H1 S60", (1, "plate", 1, 60.0, False, False)),
            ("M190 S60", (1, "plate", 0, 60.0, True, False)),
            ("M141 S45", (1, "chamber", 0, 45.0, False, False)),
            ("M191 S45", (1, "chamber", 0, 45.0, True, False)),
            ("G10 P0 S210 R150", (1, "tool", 0, 210.0, False, False)),
            ("G10 P3 S210 R150", (1, "tool", 3, 150.0, False, True)),
            ("M568 P3 S210 R150", (1, "tool", 3, 150.0, False, True)),
            ("M104 S-273.1", (1, "tool", 0, 0.0, False, False)),
        ],
    )
    def test_one(self, text: str, row: tuple[int, str, int, float, bool, bool]) -> None:
        """Heater, number, target, whether it waits, whether it is for a tool that is not active."""
        assert self.rows(text) == [row]

    def test_number_is_that_of_the_active_tool(self) -> None:
        """Without a T word."""
        assert self.rows("T3\nM104 S200") == [(2, "tool", 3, 200.0, False, False)]

    def test_tools_take_their_values_by_themselves(self) -> None:
        """After G10 P S R a change of the tool brings standby for the one left and the active value for the other."""
        rows = self.rows("G10 P0 S210 R150\nG10 P1 S240 R160\nT1\nT2\nT0")
        assert [(row[0], row[2], row[3], row[5]) for row in rows] == [
            (1, 0, 210.0, False),
            (2, 1, 160.0, True),
            (3, 0, 150.0, True),
            (3, 1, 240.0, False),
            (4, 1, 160.0, True),
            (5, 0, 210.0, False),
        ]

    def test_tools_that_are_only_heated_are_listed(self) -> None:
        """Whoever reads a set point needs to know whose it is."""
        assert read("M104 T3 S200\nG1 X1\n").tools == {0: ((1, 1.0),), 3: ((4, 1.0),)}

    def test_wait_for_all(self) -> None:
        """M116 waits for every heater that was ever set."""
        rows = self.rows("M104 S200\nM140 S60\nM116")
        assert [(row[1], row[3], row[4]) for row in rows[2:]] == [("tool", 200.0, True), ("plate", 60.0, True)]

    def test_waits_take_their_time(self) -> None:
        """The difference over the rate: 175 K at 2 K/s; then 20 K more; cooling only counts where R is said."""
        settings = replace(AT_ONCE, tool_heating_k_s=2.0, plate_heating_k_s=0.5)
        assert planned_s("M109 S200\nM109 S220\nM109 S210\nG1 X1 F60\n", settings) == pytest.approx(87.5 + 10 + 1)
        assert planned_s("M109 S200\nM109 R180\nG1 X1 F60\n", settings) == pytest.approx(87.5 + 10 + 1)
        assert planned_s("M140 S75\nM104 S225\nM116\nG1 X1 F60\n", settings) == pytest.approx(100 + 1)
        times = read("M190 S75\nG1 X1 F60\n", settings)
        assert times.times.heating_s == pytest.approx(100.0)
        assert times.duration == pytest.approx((0.95, 101.0, 201.6))

    def test_impossible_ones_are_told(self) -> None:
        """No heater goes beyond 1000 °C, no tool has such a number."""
        odd = read("M104 T99999 S200\nG10 P-3 S100 R50\nM221 T99999 S50\nG1 X1\n")
        assert (odd.set_points, odd.tools) == ((), {0: ((1, 1.0),)})
        assert [row.first_line for row in odd.notes] == [1, 3]
        schedule = read("M104 S20000\nG1 X1\n")
        assert schedule.set_points == ()
        assert counted(schedule.notes) == {"set point that cannot be meant": (1, 1)}

    def test_kinds_of_heaters(self) -> None:
        """Words that a report can print."""
        assert [str(kind) for kind in Heater] == ["tool", "plate", "chamber"]


class TestStanding:
    """Dwells and pauses."""

    @pytest.mark.parametrize(
        ("line", "time_s"),
        [("G4 P500", 0.5), ("G4 S2", 2.0), ("G4 S2 P500", 2.0), ("G4", 0.0), ("G4 P-5", 0.0), ("G4 S99999999", 0.0)],
    )
    def test_dwell(self, line: str, time_s: float) -> None:
        """P in milliseconds, S in seconds; impossible ones are left out and told."""
        schedule = read(f"G1 X1 F60\n{line}\n")
        assert schedule.times.dwell_s == time_s
        assert schedule.duration.planned_s == pytest.approx(1 + time_s)
        assert len(schedule.notes) == (line in {"G4 P-5", "G4 S99999999"})

    def test_dwell_in_seconds(self) -> None:
        """P is in seconds in RS274/NGC 3.5.4; by an option."""
        assert planned_s("G4 P2\nG1 X1 F60\n", replace(AT_ONCE, dwell_p_in_seconds=True)) == pytest.approx(3.0)

    @pytest.mark.parametrize("code", ["M0", "M1", "M25", "M226", "M600", "M601"])
    def test_pauses_are_listed(self, code: str) -> None:
        """With code, line and planned time; how long they last nobody knows."""
        schedule = read(f"G1 X5 F60\n{code}\nG1 X6\n")
        assert [tuple(row[:3]) for row in schedule.pauses] == [(2, code, "pause")]
        assert schedule.pauses[0].time_s == pytest.approx(5.0)
        assert schedule.duration.planned_s == pytest.approx(6.0)

    def test_homing_and_the_like_are_listed(self) -> None:
        """Stops whose length is the controller's own."""
        kinds = [row.kind for row in read("G28\nG29\nM701\nM98\nG1 X1\n").pauses]
        assert kinds == ["homing", "probing", "loading", "a macro of the controller"]

    def test_events_without_end_are_bounded(self) -> None:
        """A file of a hundred thousand pauses and more lists so many and tells the rest."""
        schedule = read("G1 X1 F60\n" + "M0\n" * 100_010)
        assert len(schedule.pauses) == 100_000
        assert counted(schedule.notes) == {"set points, pauses or waits too many to be listed": (10, 100_002)}


def test_what_is_not_followed_is_told() -> None:
    """Coordinate systems and inverse-time speeds change nothing here, and are noted."""
    schedule = read("G10 L2 P1 X5\nG92.1\nG93\nG1 X1 F60\n")
    assert [row.first_line for row in schedule.notes] == [1, 2, 3]


def test_layers() -> None:
    """Heights are listed when they first feed: a hop is none, and coming back is no new one."""
    text = "G1 Z0.2\nG1 X1 E1 F60\nG1 Z1\nG1 X2\nG1 Z0.4\nG1 E2\nG1 X3 E3\nG1 Z0.2\nG1 X4 E4\n"
    layers = read(text).layers
    assert [layer.z_mm for layer in layers] == pytest.approx([0.2, 0.4])
    first_move_s = 0.2 / 30  # at the speed before any F
    assert layers[0].time_s == pytest.approx(first_move_s, abs=1e-6)


def test_a_spiral_has_bounded_layers() -> None:
    """A height that changes with every move is not listed for ever."""
    text = "".join(f"G1 X{number % 9} Z{number / 1000:.3f} E{number}\n" for number in range(1, 25_000))
    schedule: BuildSchedule = read(text)
    assert len(schedule.layers) == 20_000
    assert [row.what for row in schedule.notes] == ["the height changes all the time: layers are not all listed"]


def test_an_input_that_is_not_used_has_no_plan() -> None:
    """And one that is used says when for the last time."""
    schedule = read("G1 E10 F60\nT1\nG1 E20\n")
    assert schedule.of_input(3) is None
    plan = schedule.of_input(1)
    assert plan is not None
    assert plan.next_use_s(4.0) == 4.0
    assert plan.next_use_s(10.5) is None
    other = schedule.of_input(2)
    assert other is not None
    assert other.next_use_s(4.0) == pytest.approx(17.0, abs=1e-6)  # the change takes seven seconds
    assert (plan.first_s, plan.last_s) == pytest.approx((0.0, 10.0), abs=1e-6)
