"""The page of trends: graphs for the chosen values and time, at every size, with what is missing told in words."""

import re
from dataclasses import replace

import pytest

from monitor.core.alert_types import Priority
from monitor.history.memory import History
from monitor.tui.graphs.axis import time_axis
from monitor.tui.ink import Line, ascii_line, width_of
from monitor.tui.trends.choice import Group, TrendChoice
from monitor.tui.trends.page import trends_page
from monitor.tui.view import View
from tests import screen_samples as samples
from tests.trend_examples import GAP_S, NOW_S, SPIKE_S, six_hours

HOUR_S = 3600.0


def view_of(trend: TrendChoice, *, history: History | None = None) -> View:
    return View(
        samples.healthy(), "simulated machine", trend=trend, history=six_hours() if history is None else history
    )


def page_of(view: View, width: int = 80, rows: int = 20) -> list[Line]:
    assert view.latest is not None
    return trends_page(view, view.latest, width, rows)


def text_of(lines: list[Line]) -> str:
    return "\n".join("".join(span.text for span in line) for line in lines)


ALL_TIME = TrendChoice(span_s=None)


@pytest.mark.parametrize("group", list(Group))
@pytest.mark.parametrize("span_s", [300.0, 3600.0, None])
def test_a_page_keeps_to_its_size(group: Group, span_s: float | None) -> None:
    """At usual and odd sizes: never more rows than there are, never a line too wide, and ASCII where that is wanted."""
    view = view_of(TrendChoice(group, "hottest 4", span_s))
    for width, rows in (
        (80, 20),
        (120, 36),
        (250, 66),
        (1, 1),
        (7, 3),
        (27, 9),
        (43, 4),
        (61, 0),
        (161, 12),
        (159, 50),
    ):
        lines = page_of(view, width, rows)
        assert len(lines) <= rows
        assert all(width_of(line) <= width for line in lines)
        assert text_of([ascii_line(line) for line in lines]).isascii()


def test_a_healthy_page_has_no_colour() -> None:
    """No span of any group of a healthy night with all doses below their marks names a priority's colour."""
    for group in (Group.WALLS, Group.TIME_LEFT, Group.SOFT_FRONTS, Group.FEEDS):
        lines = page_of(view_of(replace(ALL_TIME, group=group)), 120, 36)
        assert not [span for line in lines for span in line if span.look.signal is not None]


def test_a_dose_past_its_limit_is_coloured_from_there_on() -> None:
    """The curve of input 4 passes warn and limit: both colours are there; no other strand has any."""
    lines = page_of(view_of(replace(ALL_TIME, group=Group.ONE, channel="dose 4")), 120, 36)
    signals = {span.look.signal for line in lines for span in line if span.look.signal is not None}
    assert signals == {Priority.WARNING, Priority.ALARM}
    lines = page_of(view_of(replace(ALL_TIME, group=Group.ONE, channel="dose 3")), 120, 36)
    assert not [span for line in lines for span in line if span.look.signal is not None]


@pytest.mark.parametrize("size", [(80, 20), (120, 36), (250, 66)])
def test_every_value_is_shown_or_counted(size: tuple[int, int]) -> None:
    """Of six doses as many are shown as fit; how many more there are stands in the first line."""
    text = text_of(page_of(view_of(replace(ALL_TIME, group=Group.DOSES)), *size))
    shown = text.count(", dose")
    assert shown == {80: 3, 120: 6, 250: 6}[size[0]]
    assert (f"{6 - shown} more" in text) == (shown < 6)


def test_a_large_screen_has_graphs_side_by_side() -> None:
    """From 160 cells on, two graphs stand beside each other, over the same times."""
    view = view_of(replace(ALL_TIME, group=Group.DOSES))
    beside = [line.count(", dose") for line in text_of(page_of(view, 160, 40)).splitlines()]
    alone = [line.count(", dose") for line in text_of(page_of(view, 159, 40)).splitlines()]
    assert max(beside) == 2
    assert max(alone) == 1
    assert text_of(page_of(view, 160, 40)).splitlines()[-1].count("now│") == 2


def test_the_spike_of_half_a_minute_is_on_the_page_of_six_hours() -> None:
    """The highest value stands in words, and its column reaches the uppermost rows, at the time it came."""
    lines = text_of(page_of(view_of(replace(ALL_TIME, group=Group.ONE, channel="wall manifold")), 120, 20)).splitlines()
    assert "to 231" in lines[1]
    top = next(line for line in lines[2:] if any(char in line for char in "█▀▄"))
    cells = lines[-1].rindex("│") + 1 - 8
    expected = 8 + (SPIKE_S - (NOW_S - 6 * HOUR_S)) / (6 * HOUR_S) * cells
    assert min(abs(at - expected) for at, char in enumerate(top) if char in "█▀▄") <= 2


def test_the_gap_is_a_gap_on_the_page() -> None:
    """Where no data came for twenty minutes, light marks stand in that time and nowhere else."""
    lines = text_of(page_of(view_of(replace(ALL_TIME, group=Group.ONE, channel="wall manifold")), 120, 20)).splitlines()
    row = next(line for line in lines if "░" in line)
    cells = lines[-1].rindex("│") + 1 - 8
    begin, end = (8 + (at_s - (NOW_S - 6 * HOUR_S)) / (6 * HOUR_S) * cells for at_s in GAP_S)
    assert abs(row.index("░") - begin) <= 2
    assert abs(row.rindex("░") - end) <= 2
    assert sum(line.count("░") for line in lines) == row.count("░")


def test_time_before_the_watch_is_blank() -> None:
    """A day is asked for, six hours were watched: what is before is no gap, for no data were missing."""
    text = text_of(page_of(view_of(TrendChoice(Group.ONE, "soft front 2", 24 * HOUR_S)), 100, 20))
    rows = [line[8:60] for line in text.splitlines()[2:-1]]
    assert not any("░" in row or "▄" in row or "▀" in row for row in rows)


def test_silence_does_not_look_like_now() -> None:
    """Of a watch that fell silent the page says how old its newest data are, and its values carry the mark of doubt."""
    text = text_of(page_of(replace(view_of(TrendChoice(span_s=3600.0)), unheard_s=75.0), 100, 20))
    assert "up to the newest data, 75 s old" in text
    assert "°C?" in text
    assert "°C?" not in text_of(page_of(view_of(TrendChoice(span_s=3600.0)), 100, 20))


def test_what_is_newer_than_what_is_remembered_is_no_gap() -> None:
    """A fast night is remembered every few minutes: up to now stands what the watch says now, as on other pages."""
    latest = replace(samples.healthy(), time_s=NOW_S + 240.0, walls=samples.walls())
    for trend in (TrendChoice(span_s=900.0), TrendChoice(span_s=None)):
        view = replace(view_of(trend), latest=latest)
        lines = text_of(page_of(view, 100, 30)).splitlines()
        at = next(number for number, line in enumerate(lines) if " manifold  " in line)
        assert " manifold  195 °C  " in lines[at]
        cells = lines[-1].rindex("│") + 1
        columns = ["".join(row[cells - 20 : cells]) for row in lines[at + 1 : at + 5]]
        assert all(any(row[number] in "▄▀█" for row in columns) for number in range(20))
    stale = replace(view_of(TrendChoice(span_s=900.0)), latest=replace(samples.stale(), time_s=NOW_S + 240.0))
    assert text_of(page_of(stale, 100, 30)).count("░") > 20


def test_what_was_looked_at_later_says_before_what() -> None:
    """Moved back by an hour, the title and the line of times count from now."""
    trend = TrendChoice(Group.WALLS, "", 3600.0, NOW_S - 3600.0)
    text = text_of(page_of(view_of(trend), 100, 20))
    assert "1 h, up to 1 h 00 min before now" in text
    assert "now│" not in text
    assert "-1 h 30 min" in text.splitlines()[-1]


def test_moving_keeps_to_what_there_is() -> None:
    """Back no farther than the beginning, on no farther than now; where there is less, it goes on with now."""
    hour = TrendChoice(span_s=3600.0)
    assert hour.panned(-0.5, 0.0, 9000.0).end_s == 7200.0
    assert hour.panned(-0.5, 0.0, 9000.0).panned(-5.0, 0.0, 9000.0).end_s == 3600.0
    assert hour.panned(-0.5, 0.0, 9000.0).panned(0.5, 0.0, 9000.0).end_s is None
    assert hour.panned(-0.5, 0.0, 1800.0).end_s is None
    assert hour.whole().panned(-0.5, 0.0, 9000.0) == hour.whole()


def test_before_anything_is_remembered_the_page_says_so() -> None:
    """Without a history, or with an empty one, there is a sentence."""
    for view in (view_of(ALL_TIME, history=History()), replace(view_of(ALL_TIME), history=None)):
        assert "nothing is remembered yet" in text_of(page_of(view))


def test_a_value_that_is_gone_is_missed_in_words() -> None:
    """One value alone that the machine does not tell any more: a sentence names it."""
    assert "no value called wall attic" in text_of(page_of(view_of(TrendChoice(Group.ONE, "wall attic"))))


def test_the_marked_graph_is_among_those_shown() -> None:
    """Whichever of the six doses is marked, on a small screen it is shown and carries the mark."""
    for marked in range(6):
        text = text_of(page_of(view_of(replace(ALL_TIME, group=Group.DOSES, marked=marked)), 80, 20))
        assert any(line.startswith("▸") and f"input {marked + 1}, dose" in line for line in text.splitlines())


@pytest.mark.parametrize("span_s", [300.0, 900.0, 1800.0, 3600.0, 7200.0, 28_800.0, 86_400.0, 259_200.0, 21_600.0])
@pytest.mark.parametrize("cells", [20, 57, 100, 230])
def test_a_line_of_times_is_round_and_in_place(span_s: float, cells: int) -> None:
    """Exactly as wide as asked, now at the right end, and each label's mark in the column of its time."""
    text = "".join(span.text for span in time_axis(NOW_S - span_s, NOW_S, cells, now_s=NOW_S))
    assert len(text) == cells
    assert text.endswith("now│")
    unit_s = {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86_400.0}
    labels = list(re.finditer(r"(│?)-((?:\d+ (?:s|min|h|d)(?: (?=\d))?)+)(│?)", text))
    for label in labels:
        words = label[2].split()
        ago_s = sum(float(n) * unit_s[unit] for n, unit in zip(words[::2], words[1::2], strict=True))
        mark = label.start() if label[1] else label.end() - 1
        assert text[mark] == "│"
        assert abs(mark - (1 - ago_s / span_s) * cells) <= 1
    assert len(labels) >= (1 if cells < 57 else 3)


def test_times_to_come_stand_after_now() -> None:
    """With a column for now, labels before it count back and labels after it forward, each on its own scale."""
    text = "".join(s.text for s in time_axis(NOW_S - 7200, NOW_S + 3600, 81, now_s=NOW_S, now_at=60))
    assert text.index("now│") == 57
    assert "-1 h" in text[:60]
    assert "+" in text[60:]
