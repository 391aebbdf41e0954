"""Whom an alert that nobody acknowledges reaches, and when: a night on simulated time, at one look a second."""

import pytest

from monitor.cli import main
from monitor.core.alert_types import Priority
from monitor.exit_codes import DONE
from monitor.notify.ladder import Call, Ladder

MINUTES = (0.0, 2.0, 5.0)
REPEAT_S = 900.0


def _ladder() -> Ladder:
    return Ladder([minutes * 60.0 for minutes in MINUTES], REPEAT_S)


def _told(ladder: Ladder, begin_s: float, end_s: float) -> list[tuple[float, Call]]:
    seconds = map(float, range(int(begin_s), int(end_s)))
    return [(time_s, call) for time_s in seconds if ladder.is_due(time_s) for call in ladder.due(time_s)]


def test_the_next_are_told_after_two_and_five_minutes_then_all_every_quarter_of_an_hour() -> None:
    """First, second, backup; the repeats count from when the last was told."""
    ladder = _ladder()
    assert ladder.call("a", Priority.ALARM, 1000.0) == (0,)
    told = _told(ladder, 1000.0, 1000.0 + 3600.0)
    assert [(time_s - 1000.0, call.channels, call.repeat) for time_s, call in told] == [
        (120.0, (1,), 0),
        (300.0, (2,), 0),
        (1200.0, (0, 1, 2), 1),
        (2100.0, (0, 1, 2), 2),
        (3000.0, (0, 1, 2), 3),
    ]


def test_nobody_is_told_after_its_end() -> None:
    """An acknowledgement, a shelving or the end of the cause ends it; ending twice does no harm."""
    ladder = _ladder()
    ladder.call("a", Priority.ALARM, 0.0)
    ladder.end("a")
    ladder.end("a")
    assert _told(ladder, 0.0, 7200.0) == []
    assert not ladder.is_due(float("1e12"))


def test_a_change_meanwhile_is_told_to_those_reached_and_does_not_begin_anew() -> None:
    """What to do has changed: whoever was told of it must know; who was not is told in his turn."""
    ladder = _ladder()
    ladder.call("a", Priority.ALARM, 0.0)
    assert ladder.call("a", Priority.ALARM, 119.0) == (0,)
    assert ladder.call("a", Priority.ALARM, 120.0) == (0, 1)
    assert [call for _, call in _told(ladder, 120.0, 301.0)] == [Call("a", (2,), 0)]


def test_what_becomes_more_urgent_begins_with_the_first() -> None:
    """A WARNING that has become an ALARM has its own ladder."""
    ladder = _ladder()
    ladder.call("a", Priority.WARNING, 0.0)
    assert ladder.call("a", Priority.ALARM, 400.0) == (0,)
    assert [(time_s, call.channels) for time_s, call in _told(ladder, 400.0, 701.0)] == [(520.0, (1,)), (700.0, (2,))]


def test_a_hole_in_time_is_made_up_for_by_one_call() -> None:
    """A watch that was held up for an hour tells once, not once for each moment missed."""
    ladder = _ladder()
    ladder.call("a", Priority.ALARM, 0.0)
    assert ladder.due(200.0) == [Call("a", (1,), 0)]
    ladder.call("b", Priority.ALARM, 200.0)
    assert ladder.due(3900.0) == [Call("a", (0, 1, 2), 4), Call("b", (0, 1, 2), 3)]
    assert ladder.due(3900.0) == []


def test_time_set_back_loses_nothing() -> None:
    """The watch's own time never runs back; should it, the next moment comes all the same, once."""
    ladder = _ladder()
    ladder.call("a", Priority.ALARM, 1000.0)
    assert not ladder.is_due(10.0)
    assert ladder.call("a", Priority.ALARM, 10.0) == ()
    assert [time_s for time_s, _ in _told(ladder, 10.0, 1301.0)] == [1120.0, 1300.0]


@pytest.mark.parametrize("after_s", [(0.0,), (0.0, 0.0, 0.0)])
def test_channels_that_are_all_told_at_once_are_told_again_every_quarter_of_an_hour(after_s: tuple[float, ...]) -> None:
    """As the owner has it who says nothing about it."""
    ladder = Ladder(after_s, REPEAT_S)
    everybody = tuple(range(len(after_s)))
    assert ladder.call("a", Priority.ALARM, 0.0) == everybody
    assert _told(ladder, 0.0, 1801.0) == [(900.0, Call("a", everybody, 1)), (1800.0, Call("a", everybody, 2))]


def test_the_list_of_alerts_tells_how_one_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """The defaults stand where the owner looks up what may call."""
    assert main(["alerts", "list"]) == DONE
    told = " ".join(capsys.readouterr().out.split())
    assert "then to all again every 15 min (repeat_min), until it is acknowledged" in told


def test_without_channels_nothing_is_ever_due() -> None:
    """A watch without a file of channels has a ladder without rungs."""
    ladder = Ladder((), REPEAT_S)
    assert ladder.call("a", Priority.ALARM, 0.0) == ()
    assert not ladder.is_due(1e9)
