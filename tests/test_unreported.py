"""What a machine never reports is told once it has had time to."""

from connectors.telemetry import Sample
from monitor.unreported import GRACE_S, SensorRoll

TEMPERATURES = {"temp_c:manifold": 195.0, "temp_c:bed": 60.0}


def test_a_feed_that_never_comes_is_told_with_where_to_look() -> None:
    """A machine whose feed is mapped wrongly would otherwise look like six standing strands."""
    roll = SensorRoll(["manifold"], [1, 2])
    for second in range(int(GRACE_S) + 2):
        roll.take(Sample(float(second), {**TEMPERATURES, "fed_mm:2": 1.0}))

    assert "never reported the feed of input 1," in roll.notice
    assert "tool_source" in roll.notice


def test_nothing_is_said_before_its_time_or_when_all_is_there() -> None:
    """Quiet during the grace, and quiet for good once sensors and feeds have been seen."""
    roll = SensorRoll(["manifold"], [1])
    roll.take(Sample(0.0, TEMPERATURES))
    assert roll.notice == ""
    for second in range(1, 100):
        roll.take(Sample(float(second), {**TEMPERATURES, "fed_mm:1": 0.0}))

    assert (roll.notice, roll.missing_text()) == ("", "")


def test_sensors_and_feeds_are_told_together() -> None:
    """One notice names both."""
    roll = SensorRoll(["cold_end"], [3])
    for second in range(int(GRACE_S) + 2):
        roll.take(Sample(float(second), TEMPERATURES))

    assert "sensor 'cold_end'" in roll.notice
    assert "feed of input 3" in roll.notice
