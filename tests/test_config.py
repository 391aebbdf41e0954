"""Loading of machine profiles: what a sound one becomes, and that every fault is told, all at once, in plain words."""

import os
import stat
import tomllib
from dataclasses import FrozenInstanceError
from pathlib import Path

import pytest

from connectors.serial_settings import SerialSettings
from monitor.config import (
    ProfileError,
    demo_profile,
    load_profile,
    profile_from_tables,
)
from monitor.core.parameters import WallLaw
from monitor.materials.files import user_file
from tests.config_examples import LINK, SOUND, changed, faults_of, parse


@pytest.fixture(autouse=True)
def _no_materials_of_the_tester(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.mktemp("config")))


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
        assert (limits.idle_backstop_h, limits.stale_after_s, limits.unavailable_after_s) == (3, 5, 55)

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
