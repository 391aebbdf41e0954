"""Feed per input from counters that reset, wrap and get damaged. The rules are common practice, no source."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from connectors.feed_ledger import FeedBounds, FeedLedger, RunningTotal

ONE_DRIVE_PER_TOOL = {0: {1: 1.0}, 1: {2: 1.0}}


def _ledger(tool: int | None = 0) -> FeedLedger:
    return FeedLedger(ONE_DRIVE_PER_TOOL, tool=tool)


def test_axis_feeds_the_input_of_the_active_tool() -> None:
    """The first report is the baseline; what follows goes to the active tool's input, retraction lowers it."""
    ledger = _ledger()
    assert ledger.take_axis(100.0, 0.0) == {1: 0.0, 2: 0.0}
    assert ledger.take_axis(103.0, 1.0) == {1: 3.0, 2: 0.0}
    assert ledger.take_axis(102.2, 2.0)[1] == pytest.approx(2.2)


def test_mix_shares_the_axis() -> None:
    """A mix deals each input its weight, whether or not the weights sum to 1."""
    ledger = FeedLedger({5: {1: 0.25, 2: 0.75}, 6: {1: 1.0, 3: 1.0}}, tool=5)
    ledger.take_axis(0.0, 0.0)
    assert ledger.take_axis(4.0, 1.0) == {1: 1.0, 2: 3.0, 3: 0.0}
    ledger.select(6)
    ledger.take_axis(4.0, 2.0)
    assert ledger.take_axis(6.0, 3.0) == {1: 3.0, 2: 3.0, 3: 2.0}


def test_axis_reset_is_no_huge_move_and_is_not_believed_at_once() -> None:
    """A fall beyond any retraction is held; the next report confirms a reset, and only proven feed is credited."""
    ledger = _ledger()
    ledger.take_axis(700.0, 0.0)
    assert ledger.take_axis(1.0, 1.0) == {}
    assert ledger.take_axis(3.0, 2.0)[1] == 2.0
    assert ledger.rebased == 1


def test_one_damaged_value_changes_nothing() -> None:
    """A lost or changed digit in one report (7.11 or 9702.11 for 702.11) is passed over, and no feed is lost."""
    for damaged in (7.11, 9702.11):
        ledger = _ledger()
        ledger.take_axis(702.0, 0.0)
        assert ledger.take_axis(damaged, 1.0) == {}
        assert ledger.take_axis(703.5, 2.0)[1] == 1.5
        assert ledger.rebased == 0


def test_interval_with_a_change_of_tool_is_credited_to_nobody() -> None:
    """Between two reports with a change of tool the split is unknown; counting goes on from the second."""
    ledger = _ledger()
    ledger.take_axis(10.0, 0.0)
    ledger.take_axis(12.0, 1.0)
    ledger.select(1)
    assert ledger.take_axis(15.0, 2.0) == {1: 2.0, 2: 0.0}
    assert ledger.take_axis(16.0, 3.0) == {1: 2.0, 2: 1.0}


@pytest.mark.parametrize("tool", [None, -1, 9])
def test_without_a_known_tool_nothing_is_said(tool: int | None) -> None:
    """An unknown tool, none, or one the settings do not map: feed is absent, not zero."""
    ledger = _ledger()
    ledger.take_axis(10.0, 0.0)
    ledger.select(tool)
    assert ledger.take_axis(20.0, 1.0) == {}


def test_restart_keeps_the_total_and_voids_the_baseline() -> None:
    """After a restart the counter begins anywhere; the total neither falls nor jumps, and flow is 100 % again."""
    ledger = _ledger()
    ledger.take_axis(10.0, 0.0)
    ledger.take_axis(14.0, 1.0)
    ledger.scale_flow(0, 0.5)
    ledger.restart(tool=0)
    assert ledger.take_axis(0.0, 2.0)[1] == 4.0
    assert ledger.take_axis(1.0, 3.0)[1] == 5.0


def test_drives_reported_one_by_one() -> None:
    """With one value per drive the tool does not matter, and each drive is re-based by itself."""
    ledger = _ledger(tool=None)
    ledger.take_drives({0: 50.0, 1: 900.0, 7: 1.0}, 0.0)
    assert ledger.take_drives({0: 52.0, 1: 0.0, 7: 2.0}, 1.0) == {1: 2.0}
    assert ledger.take_drives({0: 52.0, 1: 1.5, 7: 2.0}, 2.0) == {1: 2.0, 2: 1.5}


def test_flow_factor_and_volume_scale_the_axis() -> None:
    """At 96 % flow 10 mm of axis feed 9.6 mm; on a volumetric axis 2.405 mm³ are 1 mm of 1.75 mm strand."""
    ledger = _ledger()
    ledger.scale_flow(0, 0.96)
    ledger.take_axis(0.0, 0.0)
    assert ledger.take_axis(10.0, 1.0)[1] == pytest.approx(9.6)
    by_volume = FeedLedger(ONE_DRIVE_PER_TOOL, tool=0, axis_mm_per_mm=2.405)
    by_volume.take_axis(0.0, 0.0)
    assert by_volume.take_axis(2.405, 1.0)[1] == pytest.approx(1.0)


def test_wrap_is_counted_through() -> None:
    """A counter that begins again at 1000 mm has moved 3 mm from 998 to 1."""
    total = RunningTotal(FeedBounds(wrap_mm=1000.0))
    total.advance(998.0, 0.0)
    assert total.advance(1.0, 1.0) == 3.0
    assert total.rebased == 0


@given(st.lists(st.tuples(st.floats(-1e6, 1e6), st.floats(0.0, 5.0)), min_size=1, max_size=60))
def test_no_step_is_ever_huge(reports: list[tuple[float, float]]) -> None:
    """Whatever a counter says, no step exceeds what the fastest drive could feed in the time since the last one.

    Backwards it may also take back the step before, when that turns out to have been a damaged reading.
    """
    bounds = FeedBounds()
    total = RunningTotal(bounds)
    time_s = last_s = last_mm = 0.0
    for reading_mm, wait_s in reports:
        time_s += wait_s
        step_mm = total.advance(reading_mm, time_s)
        if step_mm is not None:
            most_mm = bounds.retract_limit_mm + bounds.fastest_mm_s * (time_s - last_s)
            least_mm = -2 * bounds.retract_limit_mm - max(0.0, last_mm)
            assert least_mm - 1e-9 <= step_mm <= most_mm + 1e-9
            last_s, last_mm = time_s, step_mm


def test_a_jump_that_was_credited_nothing_takes_nothing_back() -> None:
    """A counter set to 11 mm and to 0 again while the strand stands: nothing was fed, nothing is taken back."""
    total = RunningTotal(FeedBounds())

    assert [total.advance(reading, 0.0) for reading in (0.0, 11.0, 11.0, 0.0, 0.0)] == [0.0, None, 0.0, None, 0.0]


def test_a_damaged_digit_is_not_credited_for_good() -> None:
    """E read 10, then 90, then 10 again: the 80 mm are taken back, so no aged strand passes for a fresh one."""
    total = RunningTotal(FeedBounds())
    credited = [total.advance(reading, 2.0 * at) for at, reading in enumerate((10.0, 90.0, 10.0, 10.5, 11.0))]

    assert sum(step for step in credited if step is not None) == pytest.approx(1.0)
