"""What a profile tells of drives: arithmetic of the motor, contradictions, and what sees the strands move."""

from pathlib import Path

import pytest

from monitor.profile.drives import drive_of
from monitor.profile.model import InputTable
from monitor.profile.report import summary_lines
from tests.config_examples import LINK, SOUND, changed, faults_of, parse

WHEEL = """\
input = 2
drive_diameter_mm = 8.0
gear_ratio = 3.0
motor_current_a = 0.85
motor_current_is = "rms"
rated_current_a = 1.0
holding_torque_n_cm = 13.0
"""
HEATER = """
[[heaters]]
name = "block"
sensor = "manifold"
power_w = 50
"""
FLAGS = """
[[link.patterns]]
name = "drive stalled"
regex = 'drive (?P<input>\\d+) stalled'
channels.stall.constant = 1
clears_after_s = 2
"""


@pytest.fixture(autouse=True)
def _no_materials_of_the_tester(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.mktemp("config")))


def _report(text: str) -> str:
    return "\n".join(summary_lines(parse(text)))


def test_force_and_step_follow_from_the_wheel() -> None:
    """A geared motor of 13 N cm at 85 % on a wheel of 8 mm: 82.9 N, and 0.042 mm per full step.

    pi x 8 mm / (200 x 3), and 0.13 N m x 0.85 x 3 / 4 mm: force times radius is torque times gear ratio.
    """
    (row,) = [
        InputTable(
            input=1,
            drive_diameter_mm=8.0,
            gear_ratio=3.0,
            motor_current_a=0.85,
            motor_current_is="rms",
            rated_current_a=1.0,
            holding_torque_n_cm=13.0,
        )
    ]
    drive = drive_of(row)
    assert drive.mm_per_full_step == pytest.approx(0.04189, abs=1e-5)
    assert drive.push_n == pytest.approx(82.9, abs=0.05)
    assert drive_of(row.model_copy(update={"motor_current_is": "peak"})).push_n == pytest.approx(82.9 / 2**0.5, abs=0.1)


def test_force_needs_all_that_it_is_reckoned_from() -> None:
    """Without the current nothing is said of the force: a guess would be believed."""
    row = InputTable(input=1, drive_diameter_mm=8.0, holding_torque_n_cm=13.0)
    assert drive_of(row).push_n is None
    assert drive_of(row).mm_per_full_step is not None


def test_profile_check_tells_the_arithmetic() -> None:
    """Force, pressure, feed of a slipped cycle, share of the rated current, and what had to be taken."""
    report = _report(changed("input = 2\n", WHEEL))
    assert "a slipped electrical cycle, 4 full steps, loses 0.168 mm" in report
    assert "motor at 85% of its rated current" in report
    assert "pushes with 83 N at most, 34 MPa on the strand (200 full steps a turn taken)" in report
    assert "NOTE: input 2: the motor" not in report


def test_more_than_85_percent_of_the_rated_current_is_warned_of() -> None:
    """Above it a small drive cuts the strand rather than stall and spring back (common practice, no source)."""
    report = _report(changed("input = 2\n", WHEEL.replace("0.85", "0.93")))
    assert "NOTE: input 2: the motor is set to 93% of its rated current" in report
    assert "common practice, no source" in report


@pytest.mark.parametrize(
    ("keys", "key", "told"),
    [
        ("gear_ratio = 3.0", "inputs[2].drive_diameter_mm", "needs the wheel"),
        ('motor_current_is = "rms"', "inputs[2].motor_current_a", "missing"),
        ("drive_diameter_mm = 8.0\nmm_per_full_step = 0.1", "inputs[2].mm_per_full_step", "give 0.1257 mm"),
        ("holding_torque_n_cm = 0", "inputs[2].holding_torque_n_cm", "above 0"),
        ('motor_current_a = 1\nmotor_current_is = "mean"', "inputs[2].motor_current_is", '"peak", "rms"'),
        ("full_steps_per_turn = 200.5", "inputs[2].full_steps_per_turn", "whole number"),
    ],
)
def test_faults_of_a_drive(keys: str, key: str, told: str) -> None:
    """Keys that contradict each other, are of no use alone, or out of range."""
    fault = faults_of(changed("input = 2\n", f"input = 2\n{keys}\n"))[0]
    assert fault.key == key
    assert told in str(fault)


def test_what_sees_the_strands_move_is_told() -> None:
    """Without encoder and flags: the heater where its power is known, else nothing; with flags no line is needed."""
    bare = _report(SOUND + LINK)
    assert "inputs 1, 2: neither encoder nor stall flags are reported, so a strand that stops will not be seen" in bare
    heated = _report(SOUND + HEATER + LINK)
    assert "the power of block shows a strand that stops, late" in heated
    assert "neither encoder" not in _report(SOUND + HEATER + LINK + FLAGS)
    assert "neither encoder" not in _report(SOUND)


def test_what_a_websocket_reports_is_seen_as_well() -> None:
    """The example's mapping reports encoders, and no line is needed; without them, and with the duty, the heater is."""
    text = (Path(__file__).parent.parent / "connectors" / "examples" / "websocket_machine.toml").read_text()
    assert "neither encoder" not in _report(text)
    bare = "\n".join(line for line in text.splitlines() if not line.startswith(('"sensed_mm', '"stall')))
    assert bare != text
    assert "neither encoder nor stall flags are reported; the power of block" in _report(bare)
