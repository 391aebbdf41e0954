"""The profile's `[motion]` table: what a sound one becomes, what is told of a faulty one, and its defaults."""

import tomllib

import pytest

from monitor.build_file import MotionSettings
from monitor.build_file.settings import NO_LIMIT, AxisLimits
from monitor.profile.model import MotionTable
from monitor.profile.report import summary_lines
from monitor.profile.template import Choices, profile_text
from tests.config_examples import LINK, SOUND, only_fault, parse

MOTION = """
[motion]
acceleration_mm_s2 = 800
corner_speed_mm_s = 8
toolchange_s = 12.5
first_tool = 1
changes_on_m6 = true
[motion.axis_speed_mm_s]
z = 12
[motion.axis_acceleration_mm_s2]
x = 3000
e = 5000
[motion.input_of_tool]
1 = 2
[motion.mixes.8]
weights = { 1 = 1, 2 = 3 }
"""


@pytest.fixture(autouse=True)
def _no_materials_of_the_tester(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.mktemp("config")))


def test_values_reach_the_settings() -> None:
    """Limits, options and tools as they stand in the file; an acceleration that is given counts as known."""
    found = parse(SOUND + MOTION).motion
    assert (found.acceleration_mm_s2, found.is_acceleration_known) == (800.0, True)
    assert (found.corner_speed_mm_s, found.toolchange_s, found.first_tool) == (8.0, 12.5, 1)
    assert found.axis_speeds_mm_s == AxisLimits(z=12.0)
    assert found.axis_accelerations_mm_s2 == AxisLimits(3000.0, NO_LIMIT, NO_LIMIT, 5000.0)
    assert found.tools == {1: ((2, 1.0),), 8: ((1, 0.25), (2, 0.75))}
    assert (found.inputs, found.changes_on_m6, found.g90_sets_e) == (2, True, False)


def test_without_the_table_all_is_default() -> None:
    """The reader's own defaults and the profile's are the same, and the acceleration is not known."""
    assert parse(SOUND).motion == MotionSettings(inputs=2)


def test_the_link_knows_its_tools() -> None:
    """What the link says of tools holds for files too, unless the table says otherwise."""
    assert parse(SOUND + LINK).motion.tools == {0: ((1, 1.0),), 1: ((2, 1.0),)}
    both = parse(SOUND + LINK + "[motion.input_of_tool]\n0 = 2\n").motion.tools
    assert both == {0: ((2, 1.0),), 1: ((2, 1.0),)}


def test_every_default_is_told_with_its_origin() -> None:
    """All but the empty tables; one that is given is told no more."""
    told = {default.key: str(default) for default in parse(SOUND).defaults if default.key.startswith("motion.")}
    plain = set(MotionTable.model_fields) - {"input_of_tool", "mixes", "corner_speed_mm_s"}
    assert set(told) == {f"motion.{key}" for key in plain - {"axis_speed_mm_s", "axis_acceleration_mm_s2"}}
    assert told["motion.toolchange_s"] == "motion.toolchange_s = 20.0 (common practice, no source)"
    assert "a guess" in told["motion.acceleration_mm_s2"]
    given = {default.key for default in parse(SOUND + MOTION).defaults}
    assert {"motion.acceleration_mm_s2", "motion.toolchange_s", "motion.changes_on_m6"}.isdisjoint(given)


@pytest.mark.parametrize(
    ("text", "key", "told"),
    [
        ("[motion]\nacceleration_mm_s2 = 0", "motion.acceleration_mm_s2", "from 0.01"),
        ("[motion]\nacceleration = 5", "motion.acceleration", "unknown key"),
        ("[motion]\nfirst_tool = 0.5", "motion.first_tool", "wrong type"),
        ("[motion]\ng90_sets_e = 1", "motion.g90_sets_e", "true or false"),
        ("[motion.axis_speed_mm_s]\nu = 5", "motion.axis_speed_mm_s.u", "unknown key"),
        ("[motion.axis_speed_mm_s]\nz = -5", "motion.axis_speed_mm_s.z", "from 0.01"),
        ("[motion.input_of_tool]\n0 = 5", "motion.input_of_tool.0", "input 5, which is not in [[inputs]]"),
        ("[motion.mixes.4]\nweights = { 1 = 1, 7 = 1 }", "motion.mixes.4.weights.7", "input 7"),
        ("[motion.mixes.4]\nweights = { 1 = 0 }", "motion.mixes.4", "above 0"),
        (
            "[motion]\ninput_of_tool = { 4 = 1 }\n[motion.mixes.4]\nweights = { 2 = 1 }",
            "motion",
            "tool 4 stands in both",
        ),
    ],
)
def test_faults_are_told(text: str, key: str, told: str) -> None:
    """Place and problem of each."""
    fault = only_fault(SOUND + text + "\n")
    assert fault.key == key
    assert told in str(fault)


def test_the_check_says_which_input_a_tool_feeds() -> None:
    """So that a slip can be seen."""
    lines = list(summary_lines(parse(SOUND + MOTION)))
    assert (
        "build files: T1 feeds input 2, T8 feeds 25% input 1 + 75% input 2; others: T1 feeds input 1, and so on"
        in lines
    )
    assert "build files: T0 feeds input 1, and so on" in list(summary_lines(parse(SOUND)))


def test_a_new_profile_shows_the_table() -> None:
    """Its commented lines are a sound table once the marks are taken off."""
    text = profile_text(Choices("invented", {1: "PLA", 2: "PETG"}))
    start = text.index("# [motion]\n")
    lines = text[start : text.index("\n\n", start)].splitlines()
    table = tomllib.loads("\n".join(line.removeprefix("# ") for line in lines))
    assert set(table) == {"motion"}
    found = parse(SOUND + "\n".join(line.removeprefix("# ") for line in lines) + "\n").motion
    assert found.tools[8] == ((1, 0.25), (2, 0.75))
    assert found.axis_speeds_mm_s.z == 12.0
