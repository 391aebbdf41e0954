"""A replay is held against its recording: the same changes of alerts, or told which are not."""

from connectors.recording import Conclusion
from monitor.plain_data import transition_data
from monitor.replay.comparison import AlertMark, comparison_lines, recorded_mark, replayed_mark
from tests.watch_examples import RAISED


def _mark(time_s: float, event: str = "raised") -> AlertMark:
    return AlertMark(time_s, (event, "dose/input 4/1", "WARNING", "Unacknowledged"))


def test_a_recorded_change_and_its_replay_agree() -> None:
    """The mark of a transition is that of its own recorded line."""
    recorded = recorded_mark(Conclusion("alert", RAISED.time_s, transition_data(RAISED)))
    assert recorded.agrees(replayed_mark(RAISED))
    assert list(comparison_lines([recorded], [replayed_mark(RAISED)], None)) == [
        "conclusions: as recorded then (changes of alerts: 1)"
    ]


def test_a_difference_in_time_in_kind_or_in_number_is_told() -> None:
    """Each of the three is a different conclusion, shown side by side."""
    then = [_mark(10.0), _mark(20.0, "cleared"), _mark(30.0)]
    now = [_mark(11.0), _mark(20.0, "eased")]
    lines = list(comparison_lines(then, now, None))
    assert lines[0] == "conclusions DIFFER from those recorded then (changes of alerts: 3 then, 2 now)"
    assert lines[1].strip().startswith("then: 00:00:10 WARNING raised dose/input 4/1; now: 00:00:11")
    assert lines[3].endswith("now: nothing")


def test_what_a_cut_off_watch_could_not_write_any_more_is_no_difference() -> None:
    """The last event may be recorded and its conclusions not; anything earlier must be there."""
    assert "as recorded then" in next(comparison_lines([_mark(10.0)], [_mark(10.0), _mark(20.0)], 20.0))
    assert "DIFFER" in next(comparison_lines([_mark(10.0)], [_mark(10.0), _mark(19.0)], 20.0))
    assert "DIFFER" in next(comparison_lines([_mark(10.0)], [_mark(10.0), _mark(20.0)], None))


def test_many_differences_are_not_all_listed() -> None:
    """Three are enough to see what is going on."""
    lines = list(comparison_lines([_mark(float(time_s)) for time_s in range(10)], [], None))
    assert len(lines) == 5
    assert lines[-1].strip() == "and 7 more"
