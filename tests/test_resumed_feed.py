"""Counters of feed go on over a restart, without what nobody counted."""

from connectors.telemetry import Event, Sample, Tick
from monitor.resume.feed import CarriedCounters


def _values(event: Event) -> dict[str, float]:
    assert isinstance(event, Sample)
    return dict(event.values)


def test_a_counter_begins_where_it_was_left() -> None:
    """Its first value, whatever it is, stands for the last one recorded; then it moves as the link's own does."""
    carried = CarriedCounters({"fed_mm:1": 500.0, "fed_mm:2": -3.0})
    assert _values(carried.event(Sample(1.0, {"fed_mm:1": 0.0, "fed_mm:2": 70.0, "temp_c:nozzle": 225.0}))) == {
        "fed_mm:1": 500.0,
        "fed_mm:2": -3.0,
        "temp_c:nozzle": 225.0,
    }
    assert _values(carried.event(Sample(2.0, {"fed_mm:1": 2.5}))) == {"fed_mm:1": 502.5}
    assert _values(carried.event(Sample(3.0, {"fed_mm:1": 1.0, "fed_mm:2": 71.0}))) == {
        "fed_mm:1": 501.0,
        "fed_mm:2": -2.0,
    }


def test_a_counter_that_was_never_recorded_is_left_as_it_is() -> None:
    """There is nothing to go on from."""
    carried = CarriedCounters({})
    assert _values(carried.event(Sample(1.0, {"fed_mm:4": 7.0}))) == {"fed_mm:4": 7.0}


def test_what_was_fed_before_an_encoders_first_word_counts_as_arrived() -> None:
    """Slip up to the seam (here 10 mm) stays as it was, and none is made up by an encoder that speaks later."""
    carried = CarriedCounters({"fed_mm:1": 500.0, "sensed_mm:1": 490.0})
    carried.event(Sample(1.0, {"fed_mm:1": 0.0}))
    carried.event(Sample(2.0, {"fed_mm:1": 6.0}))
    assert _values(carried.event(Sample(3.0, {"sensed_mm:1": 0.0, "fed_mm:1": 8.0}))) == {
        "fed_mm:1": 508.0,
        "sensed_mm:1": 498.0,
    }
    assert _values(carried.event(Sample(4.0, {"fed_mm:1": 12.0, "sensed_mm:1": 1.0}))) == {
        "fed_mm:1": 512.0,
        "sensed_mm:1": 499.0,
    }


def test_other_events_pass_as_they_are() -> None:
    """And so do samples without feed."""
    carried = CarriedCounters({"fed_mm:1": 500.0})
    for event in (Tick(1.0), Sample(2.0, {"temp_c:nozzle": 225.0})):
        assert carried.event(event) is event
