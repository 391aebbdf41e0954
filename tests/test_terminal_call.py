"""The bell rings while an ALARM is unacknowledged; a notification is text, whatever a device says."""

import io
import re
from dataclasses import replace

from monitor.core.alert_types import Alert, AlertState, AlertTransition, Priority
from monitor.terminal_call import AGAIN_S, BEL, LineCall, TerminalCall, is_unseen_alarm, notice_text
from tests.watch_examples import ALERT, ScriptedStep, sample

ALARM = replace(ALERT, priority=Priority.ALARM)
OTHER = replace(ALARM, id="softening/input 2/1", subject="input 2")


def _by_id(*alerts: Alert) -> dict[str, Alert]:
    return {alert.id: alert for alert in alerts}


def test_the_bell_rings_at_once_and_every_half_minute_until_nobody_is_called() -> None:
    """As IMO MSC.252(83), 20.2 has it of a bridge: a sound not acknowledged returns after 30 s."""
    call = TerminalCall(bell=True, notices=False)
    rung = [second for second in range(100) if call.look(_by_id(ALARM), second).rings]
    assert rung == [0, 30, 60, 90]
    assert not call.look({}, 130.0).rings
    assert call.look(_by_id(ALARM), 131.0).rings
    assert AGAIN_S == 30.0


def test_another_alarm_rings_at_once() -> None:
    """It does not wait for the first one's turn."""
    call = TerminalCall(bell=True, notices=False)
    rung = [second for second in range(70) if call.look(_by_id(ALARM, *[OTHER] * (second >= 10)), second).rings]
    assert rung == [0, 10, 40]


def test_a_clock_set_back_does_not_silence_the_bell() -> None:
    """It rings at once rather than after a day."""
    call = TerminalCall(bell=True, notices=False)
    assert call.look(_by_id(ALARM), 90_000.0).rings
    assert call.look(_by_id(ALARM), 10.0).rings


def test_only_an_alarm_that_stands_by_itself_and_is_not_seen_calls() -> None:
    """A WARNING, a seen one, one over, one held back, one that another alert tells: none rings."""
    assert is_unseen_alarm(ALARM)
    assert not is_unseen_alarm(ALERT)
    assert not is_unseen_alarm(replace(ALARM, folded_under="cooling/1"))
    for state in set(AlertState) - {AlertState.UNACKNOWLEDGED}:
        assert not is_unseen_alarm(replace(ALARM, state=state))


def test_the_owner_may_turn_it_off_and_have_notifications() -> None:
    """Each new ALARM is notified once; notifications are for who asks for them."""
    call = TerminalCall(bell=False, notices=True)
    looks = [call.look(_by_id(ALARM, *[OTHER] * (second >= 10)), float(second)) for second in range(70)]
    assert not any(look.rings for look in looks)
    assert [look.notices for look in looks if look.notices] == [(notice_text(ALARM),), (notice_text(OTHER),)]
    assert TerminalCall(bell=True, notices=False).look(_by_id(ALARM), 0.0).notices == ()


def test_a_hostile_device_cannot_speak_to_the_terminal() -> None:
    """One sequence, ended by its own end (ECMA-48, 8.3.89 and 8.3.143), with nothing of control in it, and short."""
    hostile = "\x1b\\\x1b]52;c;aGk=\x07\x9c\x9d0;x\x07\x18\x1a\r\n\u202e<b>" + "A" * 1_000_000
    notice = notice_text(replace(ALARM, subject=hostile))
    inner = re.fullmatch(r"\x1b\]9;(.*)\x1b\\", notice)
    assert inner is not None
    assert not re.search("[\x00-\x1f\x7f-\x9f\u202e]", inner[1])
    assert len(notice) < 200
    assert notice_text(ALARM) == "\x1b]9;ALARM: input 4, aged material\x1b\\"


class _Gone(io.StringIO):
    def write(self, _text: str) -> int:
        raise OSError(5, "gone")


def test_a_watch_that_prints_lines_rings_by_the_changes_of_its_alerts() -> None:
    """No assessment is read; an acknowledgement ends it; a terminal that takes nothing ends nothing."""
    out, now_s = io.StringIO(), [0.0]
    line_call = LineCall(out, TerminalCall(bell=True, notices=True), lambda: now_s[0])
    raised = AlertTransition(0.0, "raised", ALARM, AlertState.NORMAL, "engine")
    seen = AlertTransition(
        0.0, "acknowledged", replace(ALARM, state=AlertState.ACKNOWLEDGED), AlertState.UNACKNOWLEDGED, "owner"
    )
    step = ScriptedStep(sample(0.0), (raised,))
    line_call.take(step)
    for _ in range(65):
        now_s[0] += 1.0
        line_call.take(ScriptedStep(sample(now_s[0])))
    assert out.getvalue() == BEL + notice_text(ALARM) + BEL * 2
    assert step.reads == 0
    line_call.take(ScriptedStep(sample(0.0), (seen,)))
    now_s[0] += 100.0
    line_call.take(ScriptedStep(sample(0.0)))
    assert out.getvalue().count(BEL) == 3
    LineCall(_Gone(), TerminalCall(bell=True, notices=True), lambda: 0.0).take(step)
