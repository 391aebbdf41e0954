"""What is said to a page and what it may say: rows that changed, and keys, nothing else."""

import json
from contextlib import suppress
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.alert_types import Priority
from monitor.serve.buttons import _CHOOSING, _LEFT_OUT, _ONLY_ON, _WORDS, ASKING, asks, buttons
from monitor.serve.hearing import NotUnderstoodError, Pressed, Sized, heard
from monitor.serve.painting import BOLD, DIM, REVERSE, SIGNAL, WIDE, Painter, look_code, row
from monitor.serve.tab import title
from monitor.tui.desk import Desk
from monitor.tui.ink import Line, Look, Span, width_of
from monitor.tui.keys import KEYS, deeds, key_for
from monitor.tui.view import View
from tests import screen_samples as samples
from tests.screen_samples import FakeWatch


def painted(shown: dict[int, list[Any]], message: bytes) -> dict[int, list[Any]]:
    """What a page shows after a message."""
    told = json.loads(message or b"{}")
    rows = {y: [] for y in range(told["size"][1])} if "size" in told else dict(shown)
    return rows | {y: parts for y, *parts in told.get("rows", [])}


_LINES = st.lists(
    st.lists(st.builds(Span, st.text("ab ·中é", max_size=5), st.builds(Look, dim=st.booleans())), max_size=3).map(
        tuple
    ),
    max_size=4,
)


@given(st.lists(st.tuples(_LINES, st.sampled_from([20, 30])), max_size=6))
def test_a_page_that_takes_every_message_shows_every_frame_whole(frames: list[tuple[list[Line], int]]) -> None:
    """Whatever changes between frames, and however the size does: rows are sent until page and frame are the same."""
    painter, shown = Painter(), dict[int, list[Any]]()
    for lines, width in frames:
        shown = painted(shown, painter.message(lines, width))
        assert shown == {y: row(line) for y, line in enumerate(lines)}
        assert painter.message(lines, width) == b""


def test_only_what_changed_is_sent() -> None:
    """A clock that moves on costs one row; what is told besides is told when it changes."""
    painter = Painter()
    first: list[Line] = [(Span("12:00:00"),), (Span("input 1"),)]
    assert json.loads(painter.message(first, 20, title="a")) == {
        "size": [20, 2], "rows": [[0, "12:00:00", 0], [1, "input 1", 0]], "title": "a",
    }  # fmt: skip
    assert json.loads(painter.message([(Span("12:00:01"),), *first[1:]], 20, title="a")) == {
        "rows": [[0, "12:00:01", 0]]
    }
    assert json.loads(painter.message([(Span("12:00:01"),), *first[1:]], 20, title="b")) == {"title": "b"}


def test_every_look_has_a_number_of_its_own() -> None:
    """Looks of any kind can be told apart by the page, and wide letters from others."""
    looks = [
        Look(signal, dim, bold, reverse)
        for signal in (None, *Priority)
        for dim in (False, True)
        for bold in (False, True)
        for reverse in (False, True)
    ]
    assert len({look_code(look) for look in looks}) == len(looks)
    assert {BOLD, DIM, REVERSE, WIDE, *SIGNAL.values()} == {1 << bit for bit in range(7)}
    assert row((Span("a中b", Look(bold=True)),)) == ["a", BOLD, "中", BOLD + WIDE, "b", BOLD]


@pytest.mark.parametrize("state", [samples.healthy, samples.troubled, samples.unsure])
def test_the_rows_of_a_page_hold_the_text_of_the_screen(state: Any) -> None:  # noqa: ANN401 -- makes an assessment
    """Nothing is lost or added on the way, in any size; and no row is wider than was asked for."""
    desk = Desk(FakeWatch(state()))
    desk.take_newest()
    for width, height in ((20, 12), (52, 50), (80, 24), (300, 150)):
        lines = desk.lines(width, height)
        told = painted({}, Painter().message(lines, width))
        assert ["".join(map(str, parts[::2])) for parts in told.values()] == [
            "".join(span.text for span in line) for line in lines
        ]
        assert all(width_of(line) <= width for line in lines)


def test_hostile_texts_reach_a_page_as_texts() -> None:
    """Markup in a label is letters in a JSON string; the page puts them into the document as text alone."""
    hostile = "</script><script>alert(1)</script><img src=x onerror=alert(2)>&lt;\"'\\"
    told = json.loads(Painter().message([(Span(hostile),)], 80))
    assert told["rows"] == [[0, hostile, 0]]


@pytest.mark.parametrize("message", [
    b'{"say":"key","key":"k"}', "", "k", "[]", "null", "{}", '{"say":"key"}', '{"say":"key","key":""}',
    '{"say":"key","key":"kk"}', '{"say":"key","key":"f1"}', '{"say":"key","key":"ctrl+q"}', '{"say":"key","key":1}',
    '{"say":"key","key":"\\u001b"}', '{"say":"key","key":"\\u0000"}', '{"say":"key","key":"\\ud800"}',
    '{"say":"key","key":"k","more":1}', '{"say":"size","columns":-1,"rows":9}', '{"say":"size","columns":1e9,"rows":9}',
    '{"say":"size","columns":80}', '{"say":"size","columns":"80","rows":"24"}', '{"say":"ask","kind":"acknowledge"}',
    '{"say":"size","columns":80.5,"rows":24}', "[" * 5000, '{"say":"key","key":"k"',
])  # fmt: skip
def test_what_the_page_never_says_is_not_understood(message: str | bytes) -> None:
    """Anything but a key or a size, exactly as the page sends it."""
    with pytest.raises(NotUnderstoodError):
        heard(message)


@given(st.one_of(st.text(max_size=200), st.binary(max_size=200)))
def test_no_message_raises_anything_else(message: str | bytes) -> None:
    """A key, a size, or not understood."""
    with suppress(NotUnderstoodError):
        assert isinstance(heard(message), Pressed | Sized)


def test_keys_and_sizes_are_understood_and_sizes_bounded() -> None:
    """A character or a named key; a size within what can be drawn, whatever was asked for."""
    assert heard('{"say":"key","key":"?"}') == Pressed("?")
    assert heard('{"say":"key","key":"shift+tab"}') == Pressed("shift+tab")
    sizes = [heard(f'{{"say":"size","columns":{c},"rows":{r}}}') for c, r in ((0, 0), (80, 24), (10_000, 10_000))]
    assert [each.bounded for each in sizes if isinstance(each, Sized)] == [(20, 12), (80, 24), (300, 150)]


def view_of(desk: Desk) -> View:
    """What a desk shows now."""
    desk.take_newest()
    return desk.view


def test_every_button_presses_a_key_that_means_something_there() -> None:
    """On each page in turn, and with something to be answered or found; words are there wherever a key has some."""
    desk = Desk(FakeWatch(samples.troubled()))
    for page in ("", "a", "p", "v", "c", "?", "4"):
        for key in filter(None, (page,)):
            desk.press(key)
        view = view_of(desk)
        shown = buttons(view, may_ask=True)
        assert shown
        assert all(key_for(view, key) is not None for key, _, _ in shown)
        assert len({key for key, _, _ in shown}) == len(shown)
        desk.press("escape")
        desk.press("escape")


def test_the_words_of_buttons_are_of_keys_that_there_are() -> None:
    """A deed that is called otherwise in the table of keys is found here, and every button says what it does."""
    assert {*_WORDS, *_LEFT_OUT, *_CHOOSING, *_ONLY_ON, *ASKING} <= set(deeds())
    briefless = {key.deed for key in KEYS if not key.brief and key.deed not in _WORDS and key.deed not in _LEFT_OUT}
    assert briefless == {"choose(-1)", "graph(-1)"}  # arrows, beside one with words


def test_a_question_is_answered_and_a_search_led_by_buttons() -> None:
    """Digits for the answers that there are, and a way out of both."""
    desk = Desk(FakeWatch(samples.troubled()))
    desk.take_newest()
    desk.press("s")
    assert [key for key, _, _ in buttons(view_of(desk), may_ask=True)] == ["1", "2", "3", "escape"]
    desk.press("escape")
    assert desk.view.question is None
    desk.press("/")
    assert [key for key, _, _ in buttons(view_of(desk), may_ask=True)] == ["up", "down", "enter", "escape"]


def test_a_page_that_may_only_look_has_no_button_to_ask_with() -> None:
    """And the keys for it are known, so that pressing one is answered in words."""
    desk = Desk(FakeWatch(samples.troubled()))
    view = view_of(desk)
    asking = {key.keys[0] for key in KEYS if key.deed in ASKING}
    assert asking == {"k", "s", "o", "r"}
    assert {key for key, _, _ in buttons(view, may_ask=True)} & asking == {"k", "s"}
    assert not {key for key, _, _ in buttons(view, may_ask=False)} & asking
    assert {key for key in "abcdefghijklmnopqrstuvwxyz?/123" if asks(view, key)} == asking
    assert not asks(view_of_search(desk), "k")


def view_of_search(desk: Desk) -> View:
    """Letters typed into a search ask for nothing."""
    desk.press("/")
    return view_of(desk)


def test_the_title_of_a_page_is_its_most_urgent_alert() -> None:
    """So that a browser shows it of a page that lies behind others."""
    watch = FakeWatch(samples.healthy())
    desk = Desk(watch)
    assert title(view_of(desk)) == "strandwatch"
    watch.latest = samples.troubled()
    alerts = samples.troubled().alerts
    assert title(view_of(desk)) == f"▲ ALARM {alerts[0].subject} and {len(alerts) - 1} more"
    watch.ended = "ended by the owner"
    assert title(view_of(desk)) == "ENDED strandwatch"
