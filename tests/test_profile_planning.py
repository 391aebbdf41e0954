"""The profile's `[planning]` table and the tools of heaters: what they become, their faults, their defaults."""

import tomllib

import pytest

from monitor.config import demo_profile
from monitor.planning.settings import PlanSettings
from monitor.profile.report import summary_lines
from monitor.profile.template import Choices, profile_text
from tests.config_examples import SOUND, only_fault, parse

HEATERS = """
[[heaters]]
name = "manifold heater"
sensor = "manifold"
power_w = 60
tool = 9
[[heaters]]
name = "nozzle heater"
sensor = "nozzle"
power_w = 40
"""


@pytest.fixture(autouse=True)
def _no_materials_of_the_tester(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.mktemp("config")))


def test_values_reach_the_settings() -> None:
    """Rates, cold end and tools as they stand in the file; a heater without a tool is set by none."""
    table = "[planning]\nheats_k_s = 1\ncools_k_s = 0.1\ncold_end_c = 33\n"
    assert parse(SOUND + HEATERS + table).planning == PlanSettings(1.0, 0.1, 33.0, {9: "manifold"})


def test_without_the_table_all_is_default() -> None:
    """The plan's own defaults and the profile's are the same."""
    assert parse(SOUND).planning == PlanSettings()


def test_every_default_is_told_with_its_origin() -> None:
    """Both rates; the cold end only where a sensor tells of it."""
    told = {default.key: str(default) for default in parse(SOUND).defaults if default.key.startswith("planning.")}
    assert set(told) == {"planning.heats_k_s", "planning.cools_k_s"}
    assert "judgement" in told["planning.heats_k_s"]
    measured = SOUND.replace("ambient = true", 'sensor = "cold"')
    cold = [str(it) for it in parse(measured).defaults if it.key == "planning.cold_end_c"]
    assert cold == ["planning.cold_end_c = 34.0 (ambient_c and 12 K, judgement)"]


@pytest.mark.parametrize(
    ("text", "key", "told"),
    [
        ("[planning]\nheats_k_s = 0", "planning.heats_k_s", "from 0.01"),
        ("[planning]\nheat_k_s = 1", "planning.heat_k_s", "did you mean heats_k_s?"),
        ("[planning]\ncold_end_c = 300", "planning.cold_end_c", "up to 90"),
        (HEATERS.replace("tool = 9", "tool = -1"), "heaters[1].tool", "from 0"),
        (HEATERS.replace("power_w = 40", "power_w = 40\ntool = 9"), "heaters[2].tool", "used twice"),
    ],
)
def test_faults_are_told(text: str, key: str, told: str) -> None:
    """Place and problem of each."""
    fault = only_fault(SOUND + text + "\n")
    assert fault.key == key
    assert told in str(fault)


def test_the_check_says_which_heater_a_tool_sets() -> None:
    """So that a slip can be seen."""
    lines = list(summary_lines(parse(SOUND + HEATERS)))
    assert "build files: T9 sets the heater at manifold; every other tool the nozzle's" in lines
    assert not any("sets the heater" in line for line in summary_lines(parse(SOUND)))


def test_a_new_profile_shows_the_table() -> None:
    """Its commented lines are a sound table once the marks are taken off."""
    text = profile_text(Choices("invented", {1: "PLA", 2: "PETG"}))
    start = text.index("# [planning]\n")
    lines = text[start : text.index("\n\n", start)].splitlines()
    table = tomllib.loads("\n".join(line.removeprefix("# ") for line in lines))
    assert table["planning"] == {"heats_k_s": 0.4, "cools_k_s": 0.05, "cold_end_c": 37.0}


def test_the_demo_machine_can_be_planned() -> None:
    """Its manifold answers to tool 9."""
    assert demo_profile().planning == PlanSettings(0.4, 0.05, 37.0, {9: "manifold"})
