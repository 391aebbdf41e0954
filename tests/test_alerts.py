"""Life cycle of alerts: the state table of ISA-18.2 / IEC 62682, deadbands, delays, escalation, stale data."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.alert_points import alert_points
from monitor.core.alert_record import Record
from monitor.core.alert_requests import answer
from monitor.core.alert_table import ALERT_TABLE
from monitor.core.alert_types import AlertState, Request, RequestKind
from monitor.core.alerts import AlertBook, alert_law
from monitor.core.parameters import ColdEnd, Heater, WallLaw
from tests.alert_examples import OnePoint, rule
from tests.machines import machine

UNACK, ACKED, RTNUN, NORM = (
    AlertState.UNACKNOWLEDGED,
    AlertState.ACKNOWLEDGED,
    AlertState.RETURNED,
    AlertState.NORMAL,
)


def test_raise_acknowledge_clear() -> None:
    """NORM → UNACK → ACKED → NORM (ISA-18.2)."""
    watch = OnePoint(rule())

    assert [watch.sees(5, 0), watch.sees(15, 1), watch.asks(RequestKind.ACKNOWLEDGE), watch.sees(5, 2)] == [
        NORM,
        UNACK,
        ACKED,
        NORM,
    ]
    assert watch.events == ["raised", "acknowledged", "cleared"]
    assert watch.book.records == {}


def test_clear_before_it_was_seen() -> None:
    """UNACK → RTNUN → acknowledge → NORM (ISA-18.2)."""
    watch = OnePoint(rule())

    assert [watch.sees(15, 1), watch.sees(5, 2), watch.asks(RequestKind.ACKNOWLEDGE)] == [UNACK, RTNUN, NORM]
    assert watch.events == ["raised", "cleared", "acknowledged"]


def test_return_of_an_unseen_alert() -> None:
    """RTNUN → UNACK when the condition is true again (ISA-18.2)."""
    watch = OnePoint(rule())

    assert [watch.sees(15, 1), watch.sees(5, 2), watch.sees(15, 3)] == [UNACK, RTNUN, UNACK]
    assert watch.events == ["raised", "cleared", "re-raised"]


def test_a_more_severe_limit_calls_again() -> None:
    """ACKED → UNACK when a more severe limit is crossed (ISA-18.2); easing back does not call again."""
    watch = OnePoint(rule())

    assert [watch.sees(15, 1), watch.asks(RequestKind.ACKNOWLEDGE), watch.sees(25, 2)] == [UNACK, ACKED, UNACK]
    assert [watch.asks(RequestKind.ACKNOWLEDGE), watch.sees(15, 3)] == [ACKED, ACKED]
    assert watch.events == ["raised", "acknowledged", "escalated", "acknowledged", "eased"]


def test_on_delay_removes_spikes() -> None:
    """A value above the limit for less than the on-delay raises nothing; a lasting one is raised after it."""
    watch = OnePoint(rule(on_delay_s=10.0))

    assert [watch.sees(15, 0), watch.sees(15, 9), watch.sees(5, 9.5), watch.sees(15, 11), watch.sees(15, 20)] == [
        NORM
    ] * 5
    assert watch.sees(15, 21) is UNACK


def test_off_delay_bridges_dips() -> None:
    """A dip shorter than the off-delay does not clear."""
    watch = OnePoint(rule(off_delay_s=60.0))

    assert [watch.sees(15, 0), watch.sees(5, 1), watch.sees(15, 30), watch.sees(5, 40), watch.sees(5, 99)] == [
        UNACK
    ] * 5
    assert watch.sees(5, 100) is RTNUN


def test_deadband_keeps_a_noisy_value_from_calling_again() -> None:
    """Within the deadband below the limit the alert stays."""
    watch = OnePoint(rule(deadband=2.0))

    assert [watch.sees(10.5, 0), watch.sees(8.5, 1), watch.sees(10.1, 2), watch.sees(7.9, 3)] == [
        UNACK,
        UNACK,
        UNACK,
        RTNUN,
    ]
    assert watch.events == ["raised", "cleared"]


def test_a_stale_value_neither_raises_nor_clears() -> None:
    """Stale data leave an alert that needs fresh values as it was."""
    watch = OnePoint(rule(needs_fresh=True))

    assert [watch.sees(15, 0, fresh=False), watch.sees(15, 1), watch.sees(5, 2, fresh=False)] == [NORM, UNACK, UNACK]


@given(st.lists(st.tuples(st.floats(0, 30), st.floats(0, 50), st.booleans(), st.booleans()), max_size=40))
def test_any_history_ends_in_a_state_of_the_standard(history: list[tuple[float, float, bool, bool]]) -> None:
    """Whatever happens, a record is kept exactly while it is not at rest, and a raise is counted once each."""
    watch, now_s = OnePoint(rule(on_delay_s=3.0, off_delay_s=5.0, deadband=1.0)), 0.0
    for value, wait_s, fresh, seen in history:
        now_s += wait_s
        watch.sees(value, now_s, fresh=fresh)
        if seen:
            watch.asks(RequestKind.ACKNOWLEDGE)

    assert watch.state in (NORM, UNACK, ACKED, RTNUN)
    assert watch.events.count("raised") == watch.book.counts.get(0, 0)
    for record in watch.book.records.values():
        assert record.state is not NORM or record.pending_level is not None


def test_a_pause_within_the_deadband_does_not_restart_the_delay() -> None:
    """Short bursts above a limit with dips inside its deadband add up: a strand fed in bursts is told too."""
    watch = OnePoint(rule(on_delay_s=15.0, deadband=2.0))
    states = [watch.sees(11.0 if second % 10 < 4 else 9.5, float(second)) for second in range(30)]

    assert states[14] is NORM
    assert UNACK in states[15:]


def test_an_alert_that_is_over_keeps_its_urgency_until_seen() -> None:
    """A past ALARM nobody saw is not listed as a lesser alert."""
    watch = OnePoint(rule())
    for time_s, value in enumerate((15.0, 25.0, 5.0)):
        watch.sees(value, float(time_s))

    assert watch.book.records[0].highest == 2


def test_an_old_acknowledgement_leaves_a_pending_change_alone() -> None:
    """Acknowledging what is at rest is no transition, and does not restart a delay."""
    watch = OnePoint(rule(on_delay_s=10.0))
    watch.sees(15.0, 0.0)
    watch.asks(RequestKind.ACKNOWLEDGE)

    assert watch.events == []
    assert watch.sees(15.0, 10.0) is UNACK


def test_every_row_of_the_table_is_complete() -> None:
    """Rationalisation (ISA-TR18.2.2): cause, consequence, priority and time to respond stand in every row."""
    for row in ALERT_TABLE.values():
        assert row.cause
        assert row.consequence
        assert row.action
        assert row.priorities == tuple(sorted(row.priorities))
        assert row.respond_within_s > 0


def test_points_cover_every_row_and_rise() -> None:
    """Every condition of the table is watched somewhere, and limits rise with urgency."""
    points = alert_points(replace(machine(2), heaters=(Heater("heater", "manifold", 50.0),)))

    assert {point.rule.condition for point in points} == set(ALERT_TABLE)
    for point in points:
        assert list(point.limits) == sorted(point.limits)
        finite = [limit for limit in point.limits if np.isfinite(limit)]
        assert len(finite) == len(point.rule.priorities)


def test_an_estimated_sensor_may_stay_silent_and_no_other() -> None:
    """The point of a reading that is reckoned has no limit that could be passed; those of real sensors have."""
    law, cold_end = WallLaw.ESTIMATED, ColdEnd(270.0, 0.15, 1.5, 25.0)
    bench = machine()
    estimated = replace(bench, zones=(replace(bench.zones[0], law=law), *bench.zones[1:]), cold_end=cold_end)
    points = {point.subject: point for point in alert_points(estimated) if point.rule.condition == "sensor"}

    assert points["sensor cold_end"].limits == (np.inf, np.inf, np.inf)
    assert points["sensor manifold"].limits[0] == points["sensor nozzle"].limits[0] == 55.0
    assert alert_law((points["sensor cold_end"],)).raised(np.array([1e9])) == []


def test_a_record_at_time_zero_counts() -> None:
    """An alert raised at the very first moment is an alert (time 0 is not 'never')."""
    assert Record(level=0, raised_s=0.0).state is RTNUN
    assert Record(level=1, raised_s=0.0).state is UNACK


@pytest.mark.parametrize("seen", [[], [0]])
def test_acknowledging_nothing_changes_nothing(seen: list[int]) -> None:
    """Acknowledging an alert that is not there is no transition."""
    request = Request(0.0, RequestKind.ACKNOWLEDGE, "any", "owner")
    book, changes = answer(AlertBook(), alert_law(()), seen, request, 0.0)

    assert (dict(book.records), changes) == ({}, [])
