"""What is believed of a reading. The limits are common practice, no source."""

from connectors.plausibility import SetPointGate, TemperatureBounds, TemperatureGate, share_of


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
