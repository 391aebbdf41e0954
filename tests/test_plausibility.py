"""What is believed of a reading. The limits are common practice, no source."""

from itertools import pairwise

import pytest

from connectors.plausibility import OLDEST_SUSPECT_S, SetPointGate, TemperatureBounds, TemperatureGate, share_of


def _settled(at_c: float = 210.0) -> TemperatureGate:
    gate = TemperatureGate(TemperatureBounds())
    gate.accept(at_c, 0.0)
    assert gate.accept(at_c, 1.0) == at_c
    return gate


def test_first_reading_needs_a_second_one() -> None:
    """A single report proves nothing, not even the first."""
    gate = TemperatureGate(TemperatureBounds())
    assert gate.accept(210.0, 0.0) is None
    assert gate.accept(210.4, 1.0) == 210.4


def test_one_odd_value_is_held_back() -> None:
    """A lost digit (60 read as 6, 210 read as 910 or 21) passes unseen; the true value goes on."""
    for odd_c in (21.0, 880.0, 6.0):
        gate = _settled()
        assert gate.accept(odd_c, 2.0) is None
        assert gate.accept(210.2, 3.0) == 210.2


def test_confirmed_jump_is_believed() -> None:
    """Two reports that agree within 5 K are believed, however far from the last one."""
    gate = _settled()
    assert gate.accept(120.0, 1.1) is None
    assert gate.accept(118.0, 1.2) == 118.0


@pytest.mark.parametrize(("every_s", "rate_k_s"), [(1.0, 8.0), (1.0, 25.0), (10.0, 3.0), (60.0, 2.0)])
def test_a_sensor_that_goes_on_warming_is_believed(every_s: float, rate_k_s: float) -> None:
    """From cold, a fast heater or rare polling: the second report counts, and at most every other one is held."""
    gate = TemperatureGate(TemperatureBounds())
    found = [gate.accept(20.0 + rate_k_s * every_s * step, every_s * step) for step in range(8)]
    assert found[1] == 20.0 + rate_k_s * every_s
    assert found[2:].count(None) <= 3
    assert not any(a is b is None for a, b in pairwise(found))


def test_what_no_heater_can_do_is_not_believed() -> None:
    """Readings that leap by 60 K within a second agree with nothing, however many there are."""
    gate = _settled()
    assert [gate.accept(value, 2.0 + step) for step, value in enumerate((90.0, 20.0, 90.0, 20.0))] == [None] * 4


def test_an_old_suspect_is_no_witness() -> None:
    """Beyond the rarest polling a suspect vouches only for what it said itself."""
    gate = TemperatureGate(TemperatureBounds())
    gate.accept(20.0, 0.0)
    assert gate.accept(200.0, OLDEST_SUSPECT_S + 1.0) is None
    assert gate.accept(203.0, 1000.0) == 203.0


def test_an_open_sensor_is_no_cold_one() -> None:
    """What controllers print for an open sensor, such as -14 °C (from memory), is no temperature of a room."""
    gate = TemperatureGate(TemperatureBounds())
    assert [gate.accept(-14.0, float(second)) for second in range(4)] == [None] * 4
    assert gate.fault is not None
    frosty = TemperatureGate(TemperatureBounds(lowest_c=-30.0))
    assert [frosty.accept(-14.0, float(second)) for second in range(2)] == [None, -14.0]


def test_small_change_is_believed_at_once() -> None:
    """Up to 10 K at any speed, and up to 30 K/s over the time that passed."""
    gate = _settled()
    assert gate.accept(219.9, 1.0) == 219.9
    assert gate.accept(245.0, 2.0) == 245.0


def test_a_gap_gives_no_credit_for_a_great_change() -> None:
    """After an hour without data one report 190 K lower still needs a second."""
    gate = _settled()
    assert gate.accept(20.0, 3600.0) is None
    assert gate.accept(20.0, 3601.0) == 20.0


def test_absurd_is_absent_with_a_reason() -> None:
    """No sensor, or 1200 °C: absent, never zero, and the reason is told; a suspect value is no fault."""
    gate = _settled()
    assert gate.accept(None, 2.0) is None
    assert gate.fault is not None
    assert gate.accept(1200.0, 3.0) is None
    assert gate.fault is not None
    assert "1200" in gate.fault
    assert gate.accept(120.0, 3.1) is None
    assert gate.fault is None


def test_set_point_changes_only_when_said_twice() -> None:
    """A new set point needs two equal reports in a row; an odd one between leaves the old one standing."""
    gate = SetPointGate(900.0)
    said = [gate.accept(value) for value in (200.0, 200.0, 20.0, 200.0, 20.0, 20.0)]
    assert said == [None, 200.0, None, 200.0, None, 20.0]


def test_odd_set_points_apart_do_not_confirm_each_other() -> None:
    """The same damaged value twice, with true ones between, is not believed."""
    gate = SetPointGate(900.0)
    for _ in range(2):
        gate.accept(200.0)
    assert gate.accept(20.0) is None
    assert gate.accept(200.0) == 200.0
    assert gate.accept(20.0) is None


def test_duty_outside_its_scale_is_absent() -> None:
    """A duty of 200 on a scale of 127 cannot be."""
    assert share_of(127, 127) == 1.0
    assert share_of(-1, 127) is None
    assert share_of(200, 127) is None
