"""Loading of machine profiles: what a sound one becomes, and that every fault is told, all at once, in plain words."""

import os
import stat
import tomllib
from collections.abc import Iterator
from dataclasses import FrozenInstanceError
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from connectors.clean_text import clean_text
from connectors.serial_settings import SerialSettings
from monitor.config import (
    Fault,
    Profile,
    ProfileError,
    demo_profile,
    load_profile,
    parse_profile,
    profile_from_tables,
)
from monitor.core.parameters import ColdEnd, WallLaw
from monitor.material_files import user_file

SOUND = """\
name = "invented test machine"
filament_diameter_mm = 1.75
ambient_c = 22

[[zones]]
name = "cold end"
length_mm = 20
bore_mm = 2
ambient = true

[[zones]]
name = "heat break"
length_mm = 12
bore_mm = 2
bridge = true
liner = "PTFE"
liner_mm = 1.0

[[zones]]
name = "manifold"
length_mm = 15
bore_mm = 2
sensor = "manifold"
wetted = true
ends_at_merge_point = true

[[zones]]
name = "nozzle"
length_mm = 8
bore_mm = 2
sensor = "nozzle"
wetted = true

[[inputs]]
input = 1

[[inputs]]
input = 2

[[strands]]
input = 2
material = "PLA"
dried = true

[[strands]]
input = 1
material = "PETG"
label = "left"
"""

ESTIMATED = (
    SOUND.replace("ambient = true", "estimated = true")
    + """
[cold_end]
heat_capacity_j_k = 270
from_manifold_w_k = 0.15
to_coolant_w_k = 1.5
"""
)

LINK = """
[link]
kind = "serial"
port = "/dev/ttyACM0"
[link.sensors]
manifold = "T0"
nozzle = "T1"
[link.input_of_tool]
0 = 1
1 = 2
"""


@pytest.fixture(autouse=True)
def _no_materials_of_the_tester(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.mktemp("config")))


def parse(text: str) -> Profile:
    return parse_profile(text, "test.toml")


def faults_of(text: str) -> tuple[Fault, ...]:
    with pytest.raises(ProfileError) as caught:
        parse(text)
    return caught.value.faults


def only_fault(text: str) -> Fault:
    faults = faults_of(text)
    assert len(faults) == 1, [str(fault) for fault in faults]
    return faults[0]


def changed(old: str, new: str, text: str = SOUND) -> str:
    assert old in text
    return text.replace(old, new, 1)


class TestSound:
    """A profile without faults."""

    def test_zones_keep_flow_order_and_law(self) -> None:
        """Zones stand as in the file, with their wall laws, and the merge point ends the marked one."""
        parameters = parse(SOUND).parameters
        assert [zone.name for zone in parameters.zones] == ["cold end", "heat break", "manifold", "nozzle"]
        assert [zone.law for zone in parameters.zones] == [
            WallLaw.AMBIENT,
            WallLaw.BRIDGE,
            WallLaw.SENSOR,
            WallLaw.SENSOR,
        ]
        assert parameters.zones[parameters.last_before_merge].name == "manifold"
        assert parameters.path_length_mm == pytest.approx(47.0)
        assert parameters.zones[1].liner == "PTFE"
        assert parameters.zones[1].liner_mm == pytest.approx(1.0)

    def test_strands_come_in_the_order_of_inputs(self) -> None:
        """Strands are sorted by input however the file lists them."""
        strands = parse(SOUND).parameters.strands
        assert [(strand.input, strand.material.name, strand.label) for strand in strands] == [
            (1, "PETG", "left"),
            (2, "PLA", ""),
        ]
        assert strands[1].wet_factor == 1.0  # dried
        assert strands[0].wet_factor > 1.0  # not known to be dry

    def test_own_limits_override_the_material(self) -> None:
        """A strand's own limits replace the material's; an own min_feed_c is no rule of thumb any more."""
        plain = parse(SOUND).parameters.strands[1].material
        own = (
            parse(
                changed("dried = true", "dried = true\nmin_feed_c = 171\nwarn_min = 4\nlimit_min = 8\nceiling_c = 222")
            )
            .parameters.strands[1]
            .material
        )
        assert (own.min_feed_c, own.warn_min, own.limit_min, own.ceiling_c) == (171, 4, 8, 222)
        assert plain.min_feed_is_rule
        assert not own.min_feed_is_rule
        assert own.limit_high_min / own.limit_min == pytest.approx(plain.limit_high_min / plain.limit_min)

    def test_liner_limits_come_with_the_liner(self) -> None:
        """PTFE: warn 240, alarm 250, stop 300 °C (makers' tables and the plastics industry's safety guide)."""
        liner = parse(SOUND).parameters.liners["PTFE"]
        assert (liner.warn_c, liner.alarm_c, liner.stop_c) == (240, 250, 300)

    def test_short_profile_lists_its_defaults(self) -> None:
        """Keys left out are filled, and each is listed with its origin."""
        short = changed("filament_diameter_mm = 1.75\nambient_c = 22\n", "")
        profile = parse(short)
        used = {default.key: (default.value, default.origin) for default in profile.defaults}
        assert profile.parameters.filament_diameter_mm == used["filament_diameter_mm"][0] == 1.75
        assert profile.parameters.ambient_c == used["ambient_c"][0] == 25.0
        assert used["alerts.idle_backstop_h"] == (8.0, "common practice, no source")
        assert "strands[2].dried" in used
        assert "rule of thumb" in used["strands[1].min_feed_c"][1]
        assert all(default.origin for default in profile.defaults)

    def test_given_keys_are_no_defaults(self) -> None:
        """A key that stands in the file is not told as a default, even at the default's value."""
        keys = {default.key for default in parse(SOUND).defaults}
        assert "filament_diameter_mm" not in keys
        assert "strands[1].dried" not in keys

    def test_link_settings_and_reported_sensors(self) -> None:
        """The link's settings are there, with the sensors that its mapping reports."""
        profile = parse(SOUND + LINK)
        assert isinstance(profile.link, SerialSettings)
        assert profile.link.port == "/dev/ttyACM0"
        assert profile.sensors_reported == {"manifold", "nozzle"}
        assert parse(SOUND).link is None
        assert parse(SOUND).sensors_reported == frozenset()

    def test_alert_limits(self) -> None:
        """The alerts table reaches the engine's limits."""
        limits = parse(SOUND + "[alerts]\nidle_backstop_h = 3\n").parameters.limits
        assert (limits.idle_backstop_h, limits.stale_after_s, limits.unavailable_after_s) == (3, 5, 60)

    def test_profile_is_frozen(self) -> None:
        """Nobody can change a profile in passing."""
        with pytest.raises(FrozenInstanceError):
            parse(SOUND).link = None  # type: ignore[misc]  # that is what the test is about

    def test_byte_order_mark_is_accepted(self, tmp_path: Path) -> None:
        """Some editors put a byte order mark before UTF-8 text."""
        path = tmp_path / "m.toml"
        path.write_bytes(b"\xef\xbb\xbf" + SOUND.encode())
        assert load_profile(path).parameters.machine == "invented test machine"


class TestRecordedTables:
    """A profile made of the tables in a recording's header."""

    def test_tables_make_the_same_parameters(self) -> None:
        """What was recorded gives the same parameters and link again."""
        profile = parse(SOUND + LINK)
        again = profile_from_tables(profile.table, profile.material_tables, "night.jsonl")
        assert again.parameters == profile.parameters
        assert again.link == profile.link

    def test_profile_materials_survive(self) -> None:
        """A material that the profile overrides is recorded as overridden."""
        profile = parse(SOUND + "[materials.PLA]\nceiling_c = 221\n")
        again = profile_from_tables(profile.table, profile.material_tables, "night.jsonl")
        assert profile.parameters.strands[1].material.ceiling_c == 221
        assert again.parameters == profile.parameters

    def test_fault_names_the_recording(self) -> None:
        """A header that was tampered with is a fault in the recording's file."""
        profile = parse(SOUND)
        table = {**profile.table, "ambient_c": "warm"}
        with pytest.raises(ProfileError) as caught:
            profile_from_tables(table, profile.material_tables, "night.jsonl")
        assert [(fault.file, fault.key) for fault in caught.value.faults] == [("night.jsonl", "ambient_c")]


class TestDemo:
    """The packaged profile of the invented demo machine."""

    def test_it_is_the_machine_that_is_simulated(self) -> None:
        """Zones, sensors and inputs are those of the simulated machine."""
        parameters = demo_profile().parameters
        assert [(z.name, z.length_mm, z.bore_mm) for z in parameters.zones] == [
            ("cold end", 22, 2),
            ("heat break", 14, 2),
            ("manifold", 16, 2),
            ("second heat break", 10, 2),
            ("nozzle", 8, 2),
        ]
        assert parameters.sensors == ("cold_end", "manifold", "nozzle")
        assert parameters.last_before_merge == 2
        assert [strand.input for strand in parameters.strands] == [1, 2, 3, 4, 5, 6]
        assert all(strand.dried for strand in parameters.strands)

    @pytest.mark.parametrize("text", ["[demo-chalk]\nwarn_min = 1.0\n", "no TOML"])
    def test_the_demo_takes_nothing_of_the_owners(
        self, text: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """What stands in the owner's own file, even a fault, changes nothing in the invented machine."""
        before = demo_profile()
        monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
        user_file().parent.mkdir()
        user_file().write_text(text)
        assert demo_profile().parameters == before.parameters
        assert demo_profile().material_tables == before.material_tables

    def test_it_says_that_it_is_invented(self) -> None:
        """Nobody can take the demo's machine or materials for real ones."""
        profile = demo_profile()
        assert "invented" in profile.parameters.machine
        assert all(strand.material.name.startswith("demo-") for strand in profile.parameters.strands)


class TestColdEnd:
    """A cold end without a sensor."""

    def test_the_zones_own_name_serves_without_a_sensor(self) -> None:
        """The reading that is estimated is called as its zone, and the coolant is as warm as the room."""
        parameters = parse(ESTIMATED).parameters
        assert (parameters.zones[0].law, parameters.zones[0].sensor) == (WallLaw.ESTIMATED, "cold end")
        assert parameters.cold_end == ColdEnd(270.0, 0.15, 1.5, 22.0)
        assert parameters.sensors == ("cold end", "manifold", "nozzle")
        assert parameters.sensors_needed == ("manifold", "nozzle")

    def test_a_sensor_may_be_named_as_well(self) -> None:
        """Then the estimate stands for that sensor's reading."""
        text = changed("estimated = true", 'estimated = true\nsensor = "block"', ESTIMATED)
        assert parse(text).parameters.estimated_sensor == "block"

    def test_the_default_of_the_coolant_has_its_origin(self) -> None:
        """The one value with an honest default is told, and is gone from the list once given."""
        told = [str(default) for default in parse(ESTIMATED).defaults if default.key == "cold_end.coolant_c"]
        assert told == ["cold_end.coolant_c = 22.0 (ambient_c: the coolant is taken to enter as warm as the room)"]
        given = parse(ESTIMATED + "coolant_c = 30\n")
        assert not any(default.key == "cold_end.coolant_c" for default in given.defaults)
        assert given.parameters.cold_end == ColdEnd(270.0, 0.15, 1.5, 30.0)

    def test_the_demo_has_a_sensor_there(self) -> None:
        """No profile has a lump that it did not ask for."""
        assert demo_profile().parameters.cold_end is None

    @pytest.mark.parametrize(
        ("old", "new", "key", "told"),
        [
            (ESTIMATED[len(SOUND) + 2 :], "", "zones[1].estimated", "no [cold_end]"),
            ("estimated = true", "ambient = true", "cold_end", "no zone is estimated"),
            ("estimated = true", "estimated = true\nambient = true", "zones[1]", "ambient and estimated"),
            ("capacity_j_k = 270", "capacity_j_k = 0", "cold_end.heat_capacity_j_k", "from 1 up to 100000"),
            ("from_manifold_w_k = 0.15\n", "", "cold_end.from_manifold_w_k", "missing"),
            ("to_coolant_w_k = 1.5", "to_coolant_w_k = -1.5", "cold_end.to_coolant_w_k", "from 0.001 up to 1000"),
            ("to_coolant_w_k = 1.5", "to_coolant_w_k = 1.5\ncoolant_c = 99", "cold_end.coolant_c", "from -20 up to 90"),
            ("to_coolant_w_k = 1.5", "to_coolant_w_k = 1.5\ncapacity = 2", "cold_end.capacity", "unknown key"),
            ("bridge = true", "estimated = true", "zones[2].estimated", "a second cold end"),
            ("bridge = true", 'sensor = "cold end"', "zones[2].sensor", "estimated in another zone"),
            ('sensor = "nozzle"', "estimated = true", "zones[4].estimated", "a second cold end"),
        ],
    )
    def test_one_fault_is_told(self, old: str, new: str, key: str, told: str) -> None:
        """Zone and table go together, values have ranges, and there is one cold end, each told with what to do."""
        fault = only_fault(changed(old, new, ESTIMATED))
        assert fault.key == key
        assert told in str(fault)
        assert str(fault).isprintable()

    def test_what_is_heated_is_never_estimated(self) -> None:
        """A manifold as the one estimated zone would warm itself."""
        text = changed("estimated = true", "ambient = true", ESTIMATED)
        fault = only_fault(changed('sensor = "manifold"', "estimated = true", text))
        assert (fault.key, fault.allowed) == ("zones[3].estimated", 'sensor = "..." for a heated zone')

    def test_a_sensor_is_still_needed_somewhere(self) -> None:
        """The estimate starts from the manifold: with no measured wall there is nothing to start from."""
        text = changed(
            'sensor = "nozzle"', "ambient = true", changed('sensor = "manifold"', "ambient = true", ESTIMATED)
        )
        assert "no zone has a sensor" in str(only_fault(text))

    def test_all_its_faults_are_told_at_once(self) -> None:
        """Two values out of range and an unknown key are three faults, in the order of the file's keys."""
        text = changed("= 270", "= -1", changed("= 0.15", "= 1000", ESTIMATED)) + "fan = true\n"
        keys = [fault.key for fault in faults_of(text)]
        assert keys == ["cold_end.heat_capacity_j_k", "cold_end.from_manifold_w_k", "cold_end.fan"]

    def test_a_sensor_that_can_never_come_is_told(self) -> None:
        """A name that the link does not map is a slip, even where an estimate stands in for it."""
        text = changed("estimated = true", 'estimated = true\nsensor = "colt"', ESTIMATED)
        fault = only_fault(text + LINK)
        assert (fault.key, fault.allowed) == ("zones[1].sensor", "manifold, nozzle; or none: the zone is estimated")


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


@pytest.mark.parametrize(
    ("old", "new", "key", "told"),
    [
        ('kind = "serial"', 'kind = "seriel"', "link.kind", '"serial"'),
        ('kind = "serial"\n', "", "link.kind", "missing"),
        ('port = "/dev/ttyACM0"\n', "", "link.port", "missing"),
        ('port = "/dev/ttyACM0"', "port = 7", "link.port", "text"),
        ('port = "/dev/ttyACM0"', 'port = "/dev/ttyACM0"\nbuad = 9600', "link.buad", "did you mean baud?"),
        ('nozzle = "T1"\n', "", "zones[4].sensor", "never reports"),
        ("1 = 2\n", "1 = 3\n", "link.input_of_tool.1", "allowed: 1, 2"),
        ("1 = 2\n", "[link.mixes.1.weights]\n2 = 1.0\n3 = 1.0\n", "link.mixes.1.weights.3", "input 3"),
        ("0 = 1", "zero = 1", "link.input_of_tool.zero", "integer"),
    ],
)
def test_link_fault_is_told(old: str, new: str, key: str, told: str) -> None:
    """Faults of the link's table name its keys as they stand in the file."""
    fault = only_fault(changed(old, new, SOUND + LINK))
    assert fault.key == key
    assert told in str(fault)


def test_tool_map_without_inputs_is_sound() -> None:
    """Where [[inputs]] is left out, the tool map may name any input."""
    text = SOUND.replace("[[inputs]]\ninput = 1\n", "").replace("[[inputs]]\ninput = 2\n", "")
    assert "[[inputs]]" not in text
    assert parse(changed("1 = 2\n", "1 = 2\n2 = 3\n", text + LINK)).link is not None


def test_websocket_channels_are_what_is_reported() -> None:
    """Over a websocket, too, a sensor that no channel is mapped to is told before the build."""
    link = """
[link]
kind = "websocket"
url = "ws://192.0.2.7/x"
messages = [{ means = "full" }]
[link.channels]
"temp_c:manifold" = { pointer = "/m" }
"""
    fault = only_fault(SOUND + link)
    assert fault.key == "zones[4].sensor"
    assert parse(SOUND + link + '"temp_c:nozzle" = { pointer = "/n" }\n').sensors_reported == {"manifold", "nozzle"}
    nested = only_fault(SOUND + link + '"temp_c:nozzle" = { pointr = "/n", pointer = "/n" }\n')
    assert nested.key == "link.channels.temp_c:nozzle.pointr"
    assert "did you mean pointer?" in str(nested)


@pytest.mark.parametrize(
    ("row", "key", "told", "allowed"),
    [
        ('"fed_mm:3" = { pointer = "/f" }', "link.channels.fed_mm:3", "input 3", "allowed: 1, 2"),
        ('"sensed_mm:12" = { pointer = "/f" }', "link.channels.sensed_mm:12", "input 12", "allowed: 1, 2"),
        ('"stall:4" = { pointer = "/f" }', "link.channels.stall:4", "input 4", "allowed: 1, 2"),
        ('"set_c:nozle" = { pointer = "/s" }', "link.channels.set_c:nozle", "did you mean nozzle?", "manifold, nozzle"),
        ('"duty:bed" = { pointer = "/d" }', "link.channels.duty:bed", "no sensor", "allowed: manifold, nozzle"),
    ],
)
def test_channels_name_what_the_profile_has(row: str, key: str, told: str, allowed: str) -> None:
    """A channel of an input or a sensor that is not there would be recorded, and never watched."""
    link = """
[link]
kind = "websocket"
url = "ws://192.0.2.7/x"
messages = [{ means = "full" }]
[link.channels]
"temp_c:manifold" = { pointer = "/m" }
"temp_c:nozzle" = { pointer = "/n" }
"set_c:nozzle" = { pointer = "/s" }
"fed_mm:2" = { pointer = "/f" }
"""
    assert parse(SOUND + link).link is not None
    fault = only_fault(SOUND + link + row + "\n")
    assert fault.key == key
    assert told in str(fault)
    assert allowed in str(fault)
    alone = link + '"temp_c:bed" = { pointer = "/b" }\n"duty:bed" = { pointer = "/d" }\n'
    assert parse(SOUND + alone).link is not None  # whatever reports its own temperature is known


@pytest.mark.parametrize(
    ("pattern", "key", "told"),
    [
        ('input = 3\nchannels = { stall = { constant = 1 } }\nregex = "stall"', "input", "input 3, which is not in"),
        ('sensor = "nozle"\nchannels = { duty = { constant = 1 } }\nregex = "on"', "sensor", "did you mean nozzle?"),
    ],
)
def test_patterns_name_what_the_profile_has(pattern: str, key: str, told: str) -> None:
    """The same of a line that the owner reads with a pattern."""
    fault = only_fault(f'{SOUND}{LINK}\n[[link.patterns]]\nname = "own"\n{pattern}\n')
    assert fault.key == f"link.patterns[1].{key}"
    assert told in str(fault)


def test_bad_pattern_is_told() -> None:
    """A regular expression that cannot be compiled is a fault at its own key, with the reason."""
    pattern = (
        '[[link.patterns]]\nname = "motion"\nregex = "E(?P<input>\\\\d"\nchannels = { stall = { constant = 1 } }\n'
    )
    fault = only_fault(SOUND + LINK + pattern)
    assert fault.key == "link.patterns[1].regex"
    assert "regular expression" in str(fault)


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


class TestUnreadable:
    """Files that cannot be read as a profile."""

    def test_missing_file(self, tmp_path: Path) -> None:
        """A missing file is told with its name and what to do."""
        with pytest.raises(ProfileError, match=r"none\.toml: there is no such file; .*profile new"):
            load_profile(tmp_path / "none.toml")

    def test_directory(self, tmp_path: Path) -> None:
        """A directory is told as such."""
        with pytest.raises(ProfileError, match="directory"):
            load_profile(tmp_path)

    @pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
    def test_no_permission(self, tmp_path: Path) -> None:
        """A file that may not be read is told as such."""
        path = tmp_path / "m.toml"
        path.write_text(SOUND)
        path.chmod(stat.S_IWUSR)
        with pytest.raises(ProfileError, match="no permission"):
            load_profile(path)

    def test_permission_error_by_the_system(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        """The same for root, whom the system refuses nothing: the refusal is put in its place."""

        def refuse(*_: object, **__: object) -> None:
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr(Path, "open", refuse)
        with pytest.raises(ProfileError, match="no permission"):
            load_profile(tmp_path / "m.toml")

    def test_not_text(self, tmp_path: Path) -> None:
        """A binary file is told with the line where it stops being text."""
        path = tmp_path / "m.toml"
        path.write_bytes(b'name = "a"\n\xff\xfe')
        with pytest.raises(ProfileError, match="line 2 is not UTF-8"):
            load_profile(path)

    def test_endless_file(self) -> None:
        """A file that never ends is refused, not read for ever."""
        with pytest.raises(ProfileError, match="larger than any profile"):
            load_profile(Path("/dev/zero"))

    def test_hostile_file_name_is_cleaned(self, tmp_path: Path) -> None:
        """A file name cannot smuggle terminal commands into a message."""
        with pytest.raises(ProfileError) as caught:
            load_profile(tmp_path / "\x1b]0;x\x07.toml")
        assert str(caught.value).isprintable()

    def test_faulty_user_materials_are_told(self, tmp_path: Path) -> None:
        """A user's materials file that cannot be used is told as a fault, not a traceback."""
        profile, materials = tmp_path / "m.toml", tmp_path / "materials.toml"
        profile.write_text(SOUND)
        materials.write_text("[PLA\n")
        with pytest.raises(ProfileError, match=r"materials\.toml"):
            load_profile(profile, user_materials=[materials])


@pytest.mark.parametrize("name", ["serial_machine.toml", "websocket_machine.toml"])
def test_example_profiles_are_sound(name: str) -> None:
    """The example profiles load, reach a machine, and say in their text that they are invented."""
    path = Path(__file__).parent.parent / "connectors" / "examples" / name
    profile = load_profile(path)
    assert profile.link is not None
    assert set(profile.parameters.sensors) <= profile.sensors_reported
    assert "invented" in path.read_text(encoding="utf-8").lower()


def test_own_material_faults_are_told_at_their_place() -> None:
    """Faults in the profile's own materials name its file and key; a strand made of them is no further fault."""
    own = '[materials.house-blend]\nceiling_c = "hot"\n[materials.PLA]\nlimit_mins = 3\n'
    faults = faults_of(changed('material = "PETG"', 'material = "house-blend"') + own)
    assert [(fault.file, fault.key) for fault in faults] == [
        ("test.toml", "materials.house-blend.ceiling_c"),
        ("test.toml", "materials.PLA.limit_mins"),
    ]


def test_faults_show_no_secret() -> None:
    """A secret that stands where it may not is told without being shown."""
    link = '[link]\nkind = "websocket"\nurl = "ws://me:hunter2@192.0.2.7/x"\ntoken = "hunter3"\n'
    told = "\n".join(map(str, faults_of(SOUND + link)))
    assert "link.url" in told
    assert "link.token" in told
    assert "hunter" not in told


def test_table_is_the_file_without_secrets() -> None:
    """The table kept for recordings is what stands in the file."""
    assert parse(SOUND + LINK).table == tomllib.loads(SOUND + LINK)
