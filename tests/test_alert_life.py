"""Life cycle of alerts beyond raising and clearing: the state table of ISA-18.2 / IEC 62682, every pair of it.

States and transitions as OPC 10000-9 (5.8.2, B.1, E.3), which is open, has them; what it leaves open says 'judgement'.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.alert_rule import Rule
from monitor.core.alert_types import HELD_BACK, LONGEST_SHELVING_S, AlertState, Request, RequestKind
from tests.alert_examples import OnePoint, rule

NORM, UNACK, ACKED, RTNUN = (
    AlertState.NORMAL,
    AlertState.UNACKNOWLEDGED,
    AlertState.ACKNOWLEDGED,
    AlertState.RETURNED,
)
LATCHED, LATCHED_ACKED, SHELVED, BY_DESIGN, OUT = (
    AlertState.LATCHED,
    AlertState.LATCHED_ACKNOWLEDGED,
    AlertState.SHELVED,
    AlertState.SUPPRESSED,
    AlertState.OUT_OF_SERVICE,
)
HIGH, VERY_HIGH, LOW = 15.0, 25.0, 5.0


def _rule(*, latches_from: int = 0, re_alarm_s: float | None = None) -> Rule:
    """A row whose WARNING is never overdue here."""
    return rule(respond_within_s=1e6, latches_from=latches_from, re_alarm_s=re_alarm_s)


def _in_state(state: AlertState) -> OnePoint:
    """A point brought into a state by the shortest way."""
    watch = OnePoint(_rule(latches_from=1 if state in {LATCHED, LATCHED_ACKED} else 0))
    watch.held_back = "heating" if state is BY_DESIGN else ""
    values = {NORM: [LOW], RTNUN: [HIGH, LOW], LATCHED: [HIGH, LOW], LATCHED_ACKED: [HIGH, LOW]}.get(state, [HIGH])
    for value in values:
        watch.sees(value)
    asked = {
        ACKED: RequestKind.ACKNOWLEDGE,
        LATCHED_ACKED: RequestKind.ACKNOWLEDGE,
        SHELVED: RequestKind.SHELVE,
        OUT: RequestKind.TAKE_OUT,
    }.get(state)
    if asked is not None:
        watch.asks(asked)
    assert watch.state is state
    return watch


_EVENTS = ("true", "false", *(kind.value for kind in RequestKind))


def _happens(event: str, watch: OnePoint) -> AlertState:
    if event in {"true", "false"}:
        return watch.sees(HIGH if event == "true" else LOW)
    return watch.asks(RequestKind(event))


_TABLE = {
    "true": {NORM: UNACK, RTNUN: UNACK, LATCHED: UNACK, LATCHED_ACKED: UNACK},
    "false": {UNACK: RTNUN, ACKED: NORM, BY_DESIGN: NORM},
    "acknowledge": {UNACK: ACKED, RTNUN: NORM, LATCHED: LATCHED_ACKED},
    "shelve": {UNACK: SHELVED, ACKED: SHELVED, RTNUN: SHELVED, LATCHED: SHELVED, LATCHED_ACKED: SHELVED},
    "unshelve": {SHELVED: UNACK},
    "reset": {LATCHED_ACKED: NORM},
    "take out of service": {UNACK: OUT, ACKED: OUT, RTNUN: OUT, LATCHED: OUT, LATCHED_ACKED: OUT, SHELVED: OUT},
    "put back in service": {OUT: UNACK},
}
"""What leads where; a pair that is not here leaves the state as it is. Suppressed alerts may be shelved as well."""
_TABLE["shelve"] |= {BY_DESIGN: SHELVED, SHELVED: SHELVED}
_TABLE["take out of service"] |= {BY_DESIGN: OUT}


@pytest.mark.parametrize("event", _EVENTS)
@pytest.mark.parametrize("state", list(AlertState))
def test_every_pair_of_state_and_event(state: AlertState, event: str) -> None:
    """Each state with each event leads where the table says, and changes nothing where it says nothing."""
    watch = _in_state(state)

    assert _happens(event, watch) is _TABLE[event].get(state, state)


def test_active_and_acknowledged_as_in_table_b_1() -> None:
    """The sequence of OPC 10000-9, B.1.2: (active, acknowledged) after each step of one alarm's life."""
    watch, told = OnePoint(_rule()), []
    for step in ("true", "acknowledge", "false", "true", "false", "true", "acknowledge", "false"):
        state = _happens(step, watch)
        told.append((state in {UNACK, ACKED}, state in {ACKED, NORM}))

    assert told == [
        (True, False),
        (True, True),
        (False, True),
        (True, False),
        (False, False),
        (True, False),
        (True, True),
        (False, True),
    ]


def test_shelving_always_ends() -> None:
    """When its time is over an alert that stands calls again, one that does not is forgotten."""
    standing, gone = _in_state(SHELVED), _in_state(SHELVED)
    gone.sees(LOW)

    assert [standing.sees(HIGH, at_s=99.0), standing.sees(HIGH, at_s=101.0)] == [SHELVED, UNACK]
    assert [gone.sees(LOW, at_s=99.0), gone.sees(LOW, at_s=101.0)] == [SHELVED, NORM]
    assert standing.events[-1] == gone.events[-1] == "unshelved"


def test_what_gets_worse_leaves_its_shelf() -> None:
    """Shelved at one level, an alert that reaches the next one is announced (judgement: nothing worse is hidden)."""
    watch = _in_state(SHELVED)

    assert watch.sees(VERY_HIGH) is UNACK
    assert watch.events[-1] == "escalated"


def test_coming_and_going_on_the_shelf_stays_there() -> None:
    """A value that swings while it is shelved calls nobody."""
    watch = _in_state(SHELVED)

    assert [watch.sees(value) for value in (LOW, HIGH, LOW, HIGH)] == [SHELVED] * 4
    assert not watch.called


def test_what_held_it_back_by_design_ends() -> None:
    """An alert that began while the machine heated up is raised when that is over and it still stands."""
    watch = _in_state(BY_DESIGN)
    watch.held_back = ""

    assert watch.sees(HIGH) is UNACK
    assert watch.events == ["suppressed", "raised"]


def test_what_has_been_told_stays_told() -> None:
    """A state of the machine that begins later hides nothing that was announced (judgement)."""
    watch = _in_state(UNACK)
    watch.held_back = "link lost"

    assert watch.sees(HIGH) is UNACK
    assert watch.sees(VERY_HIGH) is UNACK
    assert watch.events[-1] == "escalated"


def test_an_alarm_seen_and_left_calls_again() -> None:
    """OPC 10000-9, ReAlarmTime: seen, but standing for too long since; a WARNING does not."""
    watch = OnePoint(_rule(re_alarm_s=600.0))
    watch.sees(VERY_HIGH, at_s=0.0)
    watch.asks(RequestKind.ACKNOWLEDGE)
    quiet = OnePoint(_rule(re_alarm_s=600.0))
    quiet.sees(HIGH, at_s=0.0)
    quiet.asks(RequestKind.ACKNOWLEDGE)

    assert [watch.sees(VERY_HIGH, at_s=599.0), watch.sees(VERY_HIGH, at_s=601.0)] == [ACKED, UNACK]
    assert watch.events[-1] == "re-alarmed"
    assert quiet.sees(HIGH, at_s=5000.0) is ACKED


def test_latching_begins_at_its_level() -> None:
    """A row that latches from its second level lets go of what only reached the first."""
    first, second = OnePoint(_rule(latches_from=2)), OnePoint(_rule(latches_from=2))
    first.sees(HIGH)
    second.sees(VERY_HIGH)

    assert (first.sees(LOW), second.sees(LOW)) == (RTNUN, LATCHED)


def test_every_moment_is_in_the_story() -> None:
    """The story tells what happened, when, and by whom; a new activation begins a new one."""
    watch = _in_state(ACKED)
    watch.sees(VERY_HIGH, at_s=50.0)
    (record,) = watch.book.records.values()

    assert [(moment.event, moment.actor) for moment in record.story] == [
        ("raised", "engine"),
        ("acknowledged", "owner"),
        ("escalated", "engine"),
    ]
    assert record.story[-1].time_s == 50.0


def test_a_long_story_keeps_its_beginning_and_its_end() -> None:
    """An alert that swings all night does not grow without bound."""
    watch = OnePoint(_rule())
    for _ in range(50):
        watch.sees(HIGH)
        watch.sees(LOW)
    (record,) = watch.book.records.values()

    assert (record.story[0].event, record.story[-1].event, len(record.story)) == ("raised", "cleared", 12)


@pytest.mark.parametrize(
    ("kind", "reason", "for_s"),
    [
        (RequestKind.SHELVE, "", 60.0),
        (RequestKind.SHELVE, "why", 0.0),
        (RequestKind.SHELVE, "why", LONGEST_SHELVING_S + 1.0),
        (RequestKind.SHELVE, "why", float("nan")),
        (RequestKind.TAKE_OUT, "  ", 0.0),
    ],
)
def test_nothing_is_held_back_without_reason_and_end(kind: RequestKind, reason: str, for_s: float) -> None:
    """Shelving is timed and has a reason; out of service has a reason."""
    with pytest.raises(ValueError, match=r"reason is empty|for_s is"):
        Request(0.0, kind, "x", "owner", reason, for_s)


_DEEDS = st.sampled_from(["true", "false", "worse", *(kind.value for kind in RequestKind)])


@given(st.lists(st.tuples(_DEEDS, st.floats(0.0, 80.0), st.booleans()), max_size=40), st.booleans())
def test_no_history_hides_an_alert_for_ever(history: list[tuple[str, float, bool]], latches: bool) -> None:  # noqa: FBT001 -- hypothesis passes by place
    """Whatever was done before: put back, unshelved and no longer suppressed, a condition that holds is announced."""
    watch = OnePoint(_rule(latches_from=int(latches)))
    for deed, wait_s, is_held in history:
        watch.held_back = "heating" if is_held else ""
        watch.time_s += wait_s
        if deed == "worse":
            watch.sees(VERY_HIGH)
        else:
            _happens(deed, watch)
        assert watch.state in AlertState
    watch.held_back = ""
    watch.asks(RequestKind.PUT_BACK)
    watch.asks(RequestKind.UNSHELVE)

    assert watch.sees(VERY_HIGH) in {UNACK, ACKED}
    assert watch.state not in HELD_BACK
