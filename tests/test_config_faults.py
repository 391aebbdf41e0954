"""Faults of a profile: every one is told, with its key, what is wrong and what is allowed."""

import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from connectors.clean_text import clean_text
from monitor.config import (
    Fault,
    ProfileError,
    profile_from_tables,
)
from tests.config_examples import LINK, SOUND, changed, faults_of, only_fault, parse


@pytest.fixture(autouse=True)
def _no_materials_of_the_tester(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.mktemp("config")))


@pytest.mark.parametrize(
    ("old", "new", "key", "value", "told"),
    [
        ("length_mm = 12", "length_mm = -4", "zones[2].length_mm", -4, "from 0.1 up to 1000"),
        ("length_mm = 12", "length_mm = nan", "zones[2].length_mm", None, "finite"),
        ("length_mm = 12", "length_mm = inf", "zones[2].length_mm", None, "finite"),
        ("length_mm = 12", 'length_mm = "12"', "zones[2].length_mm", "12", "a number"),
        ("length_mm = 12", "length_mm = true", "zones[2].length_mm", True, "a number"),
        ("length_mm = 12\n", "", "zones[2].length_mm", None, "missing"),
        ("length_mm = 12", "length_mm = 12\nlenght_mm = 12", "zones[2].lenght_mm", 12, "did you mean length_mm?"),
        ("bore_mm = 2", "bore_mm = 1.7", "zones[1].bore_mm", 1.7, "at least 1.75"),
        ("bridge = true\n", "", "zones[2]", None, "no wall law"),
        ("bridge = true\n", 'bridge = true\nsensor = "manifold"\n', "zones[2]", None, "sensor and bridge"),
        ("ambient = true", "bridge = true", "zones[1].bridge", True, "a zone on both sides"),
        ("liner_mm = 1.0\n", "", "zones[2].liner_mm", None, "missing"),
        ('liner = "PTFE"\n', "", "zones[2].liner", None, "missing"),
        ('liner = "PTFE"', 'liner = "PLA"', "zones[2].liner", "PLA", "PLA"),
        ('name = "nozzle"', 'name = "manifold"', "zones[4].name", "manifold", "used twice"),
        (
            "wetted = true\n\n[[inputs]]",
            "ends_at_merge_point = true\n\n[[inputs]]",
            "zones[4].ends_at_merge_point",
            True,
            "'manifold'",
        ),
        ("ends_at_merge_point = true\n", "", "zones", None, "ends_at_merge_point"),
        ("dried = true", 'dried = "yes"', "strands[1].dried", "yes", "true or false"),
        ('material = "PLA"', 'material = "PLAA"', "strands[1].material", "PLAA", "PLA"),
        ("[[strands]]\ninput = 2", "[[strands]]\ninput = 3", "strands[1].input", 3, "1, 2"),
        ("[[strands]]\ninput = 2", "[[strands]]\ninput = 0", "strands[1].input", 0, "from 1 up to 64"),
        ("[[strands]]\ninput = 2", "[[strands]]\ninput = 1", "strands[2].input", 1, "used twice"),
        (
            "[[inputs]]\ninput = 2",
            "[[inputs]]\ninput = 2\nmotor_current_a = 2\nrated_current_a = 1",
            "inputs[2].motor_current_a",
            2,
            "rated",
        ),
        ("dried = true", "min_feed_c = 235", "strands[1].min_feed_c", 235, "ceiling"),
        ("dried = true", "ceiling_c = 150", "strands[1].ceiling_c", 150, "ceiling"),
        ("dried = true", "warn_min = 31", "strands[1].warn_min", 31, "limit"),
        ("ambient_c = 22", "ambiant_c = 22", "ambiant_c", 22, "did you mean ambient_c?"),
        ("ambient_c = 22", "ambient_c = 22\n[alerts]\nstale_after_s = 60", "alerts.stale_after_s", 60, "below"),
        ('name = "invented test machine"\n', "", "name", None, "missing"),
        ('name = "invented test machine"', 'name = "a\\u001b[31mb"', "name", "a\x1b[31mb", "can be shown"),
    ],
)
def test_one_fault_is_told(old: str, new: str, key: str, value: object, told: str) -> None:
    """One slip is one fault that names file, key and value and says what is allowed, on one printable line."""
    fault = only_fault(changed(old, new))
    assert (fault.file, fault.key) == ("test.toml", key)
    if value is not None:
        assert fault.value == value
    line = str(fault)
    assert line.startswith(f"test.toml: {key}")
    assert told in line
    assert line.isprintable()


def test_all_faults_are_told_at_once_in_file_order() -> None:
    """Faults of types, ranges, unknown keys and of what goes together appear in one run, as the file goes."""
    text = changed("ambient_c = 22", 'ambient_c = "warm"')
    text = changed("length_mm = 20", "length_mm = 0", text)
    text = changed('name = "nozzle"', 'name = "nozzle"\nshape = "round"', text)
    text = changed("[[strands]]\ninput = 2", "[[strands]]\ninput = 9", text)
    text = changed('material = "PETG"', 'material = "PETGG"', text)
    faults = faults_of(text + changed("nozzle =", "nozle =", LINK))
    assert [fault.key for fault in faults] == [
        "ambient_c",
        "zones[1].length_mm",
        "zones[4].shape",
        "zones[4].sensor",
        "strands[1].input",
        "strands[2].material",
    ]
    assert str(ProfileError(faults)).splitlines() == [str(fault) for fault in faults]


def test_unknown_material_names_those_like_it() -> None:
    """A slip in a material's name is answered with the name that was meant."""
    assert "PETG" in str(only_fault(changed('material = "PETG"', 'material = "PET-G"')))


def test_more_strands_than_inputs() -> None:
    """A strand too many is told once for the strand and once for the count."""
    faults = faults_of(SOUND + '[[strands]]\ninput = 3\nmaterial = "PLA"\n')
    assert [(fault.key, fault.value) for fault in faults if fault.key != "strands"] == [("strands[3].input", 3)]
    assert any("3 strands, but 2 inputs" in str(fault) for fault in faults)


def test_sensor_not_reported_suggests_the_one_meant() -> None:
    """A zone's sensor spelt otherwise than in the mapping is told with the mapping's name."""
    fault = only_fault(changed('sensor = "nozzle"', 'sensor = "nozzel"') + LINK)
    assert fault.key == "zones[4].sensor"
    assert "did you mean nozzle?" in str(fault)


def test_two_bridges_in_a_row() -> None:
    """A bridge is linear between its neighbours, so one beside another has no law."""
    fault = only_fault(changed('sensor = "manifold"', "bridge = true"))
    assert fault.key == "zones[3].bridge"


def test_no_sensor_at_all() -> None:
    """A hot path without any sensor cannot be watched."""
    text = changed('sensor = "manifold"', "ambient = true", changed('sensor = "nozzle"', "ambient = true"))
    assert "no zone has a sensor" in str(only_fault(text))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("name = \n", "line 1"),
        ('name = "a"\n[[zones]\n', "line 2"),
        ('name = "a"\nname = "b"\n', "overwrite"),
        ("", "zones"),
        ("zones = 3\nstrands = 4\nname = 5", "zones"),
        ("name = 'x'\nzones = [1, 'two', {}]\nstrands = {}", "zones[1]"),
        ("link = 3", "link"),
        ("materials = 3", "materials"),
        ("a=" + "[" * 5000, "not TOML"),
    ],
)
def test_wrong_shapes_never_raise_anything_else(text: str, told: str) -> None:
    """Whatever the text, the answer is a ProfileError whose lines name the place."""
    assert any(told in str(fault) for fault in faults_of(text))


LEAVES = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20)
ANYTHING = st.recursive(
    LEAVES,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=9), inner, max_size=3),
    max_leaves=6,
)


def places(table: object, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Every place in plain tables, the root left out."""
    steps = table.items() if isinstance(table, dict) else enumerate(table) if isinstance(table, list) else ()
    for step, child in steps:
        yield (*path, step)
        yield from places(child, (*path, step))


@given(data=st.data(), value=ANYTHING)
@settings(max_examples=150, deadline=None)
def test_any_value_anywhere_is_sound_or_a_fault(data: st.DataObject, value: object) -> None:
    """Whatever stands at whatever key, the profile loads or the faults are told on clean lines."""
    table: Any = tomllib.loads(SOUND + LINK)
    *above, last = data.draw(st.sampled_from(sorted(places(table), key=str)))
    parent = table
    for step in above:
        parent = parent[step]
    parent[last] = value
    faults: tuple[Fault, ...] = ()
    try:
        profile_from_tables(table, parse(SOUND).material_tables, "test.toml")
    except ProfileError as error:
        faults = error.faults
    assert all(clean_text(str(fault), 10_000) == str(fault) for fault in faults)
