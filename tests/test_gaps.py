"""What a gap in the data leaves open: the dose and the idle time as ranges whose ends are both possible."""

from collections.abc import Iterable, Iterator

import numpy as np
import pytest

from connectors.telemetry import Event, LinkChange, Sample, Tick
from monitor.core.assessment import Activity, StrandAssessment
from monitor.core.dose import cautious_law
from monitor.core.engine import run
from tests.machines import machine

HOUR_S = 3600.0
HOT = {"temp_c:cold_end": 32.0, "temp_c:manifold": 195.0, "temp_c:nozzle": 225.0, "set_c:manifold": 195.0}
RATE = float(np.exp(cautious_law(machine().strands).log_rate(np.array([[195.0]])))[0, 0])
"""Minutes of dose per minute at the manifold's wall."""


def _samples(
    from_s: float, until_s: float, fed_mm: float = 0.0, feed_mm_s: float = 0.0, **walls: float
) -> Iterator[Sample]:
    """A sample every 2 s; feed goes on from `fed_mm`."""
    named = {**HOT, **{f"temp_c:{name}": temp_c for name, temp_c in walls.items()}}
    for second in np.arange(from_s, until_s + 1.0, 2.0).tolist():
        yield Sample(second, {**named, "fed_mm:1": fed_mm + feed_mm_s * (second - from_s)})


def _strand(*parts: Iterable[Event]) -> StrandAssessment:
    *_, step = run((event for part in parts for event in part), machine())
    return step.assessment.strands[0]


@pytest.mark.parametrize("ticks", [True, False])
def test_a_gap_in_which_it_stood_leaves_the_dose_open(ticks: bool) -> None:  # noqa: FBT001 -- a parameter of the test
    """Half an hour of data, three of silence: the dose is that of 0.5 to 3.5 h, whether or not ticks passed meanwhile.

    That it stood is known: the feed counter came back the same. So its idle time is no range.
    """
    silence = [Tick(second) for second in np.arange(1802.0, 3.5 * HOUR_S, 30.0).tolist()] if ticks else []
    strand = _strand(_samples(0.0, 1800.0), silence, _samples(3.5 * HOUR_S, 3.5 * HOUR_S + 2.0))

    assert strand.dose_now_min == pytest.approx(210.0 * RATE, rel=0.01)
    assert strand.dose_low_min == pytest.approx(30.0 * RATE, rel=0.02)
    assert strand.idle_s == pytest.approx(3.5 * HOUR_S + 2.0)
    assert strand.idle_low_s is None


def test_without_a_gap_nothing_is_open() -> None:
    """Hours of steady data: dose and idle time are numbers, not ranges."""
    strand = _strand(_samples(0.0, HOUR_S))

    assert (strand.dose_low_min, strand.idle_low_s) == (None, None)


def test_what_is_sure_goes_on_growing_after_a_gap() -> None:
    """An hour after the gap both ends of the dose have grown by that hour."""
    before = _strand(_samples(0.0, 600.0), _samples(2 * HOUR_S, 2 * HOUR_S + 4.0))
    after = _strand(_samples(0.0, 600.0), _samples(2 * HOUR_S, 3 * HOUR_S + 4.0))
    assert before.dose_low_min is not None
    assert after.dose_low_min is not None

    assert after.dose_now_min - before.dose_now_min == pytest.approx(60.0 * RATE, rel=0.01)
    assert after.dose_low_min - before.dose_low_min == pytest.approx(60.0 * RATE, rel=0.01)


def test_a_gap_in_which_it_fed_leaves_the_idle_time_open() -> None:
    """It fed at some time in the gap: an hour after its end it has stood for an hour, or for the whole gap besides."""
    strand = _strand(_samples(0.0, 600.0), _samples(3 * HOUR_S, 4 * HOUR_S, fed_mm=200.0))

    assert strand.activity is Activity.IDLE
    assert strand.idle_low_s == pytest.approx(HOUR_S)
    assert strand.idle_s == pytest.approx(4 * HOUR_S - 600.0)


def test_a_gap_in_which_it_fed_leaves_the_dose_open() -> None:
    """Nobody knows when in the gap it fed: what is there now may be fresh, or have stood hot for nearly all of it."""
    strand = _strand(_samples(0.0, 600.0), _samples(3 * HOUR_S, 3 * HOUR_S + 60.0, fed_mm=200.0))

    assert strand.dose_low_min is not None
    assert strand.dose_low_min < 2.0
    assert strand.dose_now_min == pytest.approx((180.0 - 10.0 + 1.0) * RATE, rel=0.02)


def test_material_that_was_there_before_may_have_aged_further_down() -> None:
    """Fed a little in the gap: what stood in the cool heat break may have stood in the manifold ever since."""
    before = _strand(_samples(0.0, 600.0))
    strand = _strand(_samples(0.0, 600.0), _samples(3 * HOUR_S, 3 * HOUR_S + 4.0, fed_mm=10.0))
    inside = (strand.x_mm > 2.0) & (strand.x_mm < 5.0)  # it was 10 mm further up, in the manifold still
    just_in = (strand.x_mm > 8.0) & (strand.x_mm < 14.0)  # this was in the heat break

    assert before.dose_min[(before.x_mm > 18.0) & (before.x_mm < 24.0)].max() < 10.0 * RATE
    assert strand.dose_min[inside].min() == pytest.approx(180.0 * RATE, rel=0.03)
    assert strand.dose_min[just_in].min() == pytest.approx(170.0 * RATE, rel=0.06)


def test_a_short_gap_in_the_feed_alone_adds_no_more_than_itself() -> None:
    """A feed channel that reports every 10 s: each report leaves 10 s open, and they do not add up."""
    parts = [Sample(second, HOT) for second in np.arange(0.0, 600.0, 2.0).tolist()]
    parts += [Sample(second + 0.5, {"fed_mm:1": second}) for second in np.arange(0.0, 600.0, 10.0).tolist()]
    strand = _strand(sorted(parts, key=lambda sample: sample.time_s))
    steady = _strand(_samples(0.0, 600.0, feed_mm_s=1.0))

    assert strand.dose_now_min == pytest.approx(steady.dose_now_min, abs=20.0 / 60.0 * RATE)


def test_a_reconnect_after_which_feed_counts_anew_leaves_the_dose_open() -> None:
    """A serial line was away for two hours; its counter goes on as if nothing had moved, and the link says so."""
    back = LinkChange(2 * HOUR_S, available=True, reason="opened again", feed_unknown=True)
    fed = {"fed_mm": 300.0}
    strand = _strand(_samples(0.0, 600.0, **fed), [back], _samples(2 * HOUR_S, 2 * HOUR_S + 60.0, **fed))

    assert strand.dose_low_min is not None
    assert strand.dose_low_min < 2.0
    assert strand.dose_now_min == pytest.approx(120.0 * RATE, rel=0.02)
    assert strand.idle_low_s is not None
    assert strand.idle_low_s < 120.0


def test_a_wall_that_is_silent_while_others_report_leaves_the_dose_open() -> None:
    """Two hours in which the manifold alone says nothing: it may have stood at its last value, or cooled."""
    others = {name: value for name, value in HOT.items() if name != "temp_c:manifold"}
    silent = [Sample(second, {**others, "fed_mm:1": 0.0}) for second in np.arange(1802.0, 2.5 * HOUR_S, 2.0).tolist()]
    strand = _strand(_samples(0.0, 1800.0), silent, _samples(2.5 * HOUR_S, 2.5 * HOUR_S + 4.0))

    assert strand.dose_now_min == pytest.approx(150.0 * RATE, rel=0.01)
    assert strand.dose_low_min == pytest.approx(30.5 * RATE, rel=0.03)


def test_samples_without_a_temperature_do_not_hold_off_that_no_data_come() -> None:
    """Feed goes on coming, temperatures do not: within a minute it is told, and the dose goes on."""
    feed_alone = (Sample(float(second), {"fed_mm:1": 0.0}) for second in range(600, 720))
    told = [
        change
        for step in run((event for part in (_samples(0.0, 599.0), feed_alone) for event in part), machine())
        for change in step.transitions
        if change.alert.condition == "link" and change.event == "raised"
    ]
    assert len(told) == 1
    assert 600.0 < told[0].time_s <= 660.0


def test_feed_after_the_gap_closes_the_range() -> None:
    """Once the material of the gap has been fed out, dose and idle time are sure again."""
    fed = _samples(2 * HOUR_S, 2 * HOUR_S + 80.0, fed_mm=20.0, feed_mm_s=1.0)
    strand = _strand(_samples(0.0, 600.0), fed, _samples(2 * HOUR_S + 82.0, 2 * HOUR_S + 600.0, fed_mm=100.0))

    assert (strand.dose_low_min, strand.idle_low_s) == (None, None)
    assert strand.idle_s == pytest.approx(520.0, abs=3.0)


def test_the_alerts_say_what_is_open() -> None:
    """After a night of silence the WARNING of dose and the CAUTION of standing tell both ends, and go by the higher."""
    early = list(_samples(0.0, 600.0))
    late = list(_samples(9 * HOUR_S, 9 * HOUR_S + 4.0, fed_mm=200.0))
    texts = {
        change.alert.condition: change.alert.text
        for step in run([*early, *late], machine())
        for change in step.transitions
        if change.event == "raised"
    }

    assert "is ageing: 0 to " in texts["dose"]
    assert "has stood hot for 0.0 to 8.8 h" in texts["standing"]


def test_a_range_of_idle_time_ends_where_heat_began() -> None:
    """Cold until after the gap: how long it stands hot is sure, however unsure it is when it last moved."""
    cold = _samples(0.0, 600.0, manifold=25.0)
    still_cold = _samples(HOUR_S, HOUR_S + 60.0, fed_mm=50.0, manifold=25.0)
    strand = _strand(cold, still_cold, _samples(HOUR_S + 62.0, 2 * HOUR_S, fed_mm=50.0))

    assert strand.idle_low_s is None
    assert strand.idle_s == pytest.approx(HOUR_S - 62.0, abs=5.0)


def test_a_gap_can_make_most_of_the_range_of_the_time_left() -> None:
    """After twelve hours of silence it is the gap, not the material's data, that makes the time left unsure."""
    early = _strand(_samples(0.0, 600.0))
    strand = _strand(_samples(0.0, 600.0), _samples(12 * HOUR_S, 12 * HOUR_S + 4.0))

    assert (early.doubt, strand.doubt) == ("dose limit", "gap in the data")
    assert strand.limit_left_s.low < early.limit_left_s.low
    assert strand.limit_left_s.high == pytest.approx(early.limit_left_s.high, rel=0.02)
