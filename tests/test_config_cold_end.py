"""Profiles of machines whose cold end has no sensor."""

import pytest

from monitor.config import (
    demo_profile,
)
from monitor.core.parameters import ColdEnd, WallLaw
from tests.config_examples import ESTIMATED, LINK, SOUND, changed, faults_of, only_fault, parse


@pytest.fixture(autouse=True)
def _no_materials_of_the_tester(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.mktemp("config")))


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
