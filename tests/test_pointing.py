"""The mouse: a click means what is drawn under it, and nothing that no key does; keys keep their order."""

import re
from dataclasses import replace

import pytest
from textual.events import Key, MouseDown, MouseMove, MouseScrollDown, MouseScrollUp, MouseUp
from textual.pilot import Pilot

from monitor.tui.app import ScreenApp
from monitor.tui.desk import Desk
from monitor.tui.keys import key_for
from monitor.tui.pages import Page
from monitor.tui.pointing import click, wheel
from monitor.tui.present import frame
from monitor.tui.trends.choice import Group, TrendChoice
from monitor.tui.view import View
from tests import screen_samples as samples
from tests.screen_samples import FakeWatch
from tests.trend_examples import NOW_S, six_hours

SIZES = [(80, 24), (120, 40), (60, 15)]
SLOW_HZ = 0.001
TROUBLED = View(samples.troubled(), "simulated machine", history=six_hours())


def rows_of(view: View, size: tuple[int, int]) -> list[str]:
    return ["".join(span.text for span in line) for line in frame(view, *size)]


def place_of(view: View, size: tuple[int, int], words: str) -> tuple[int, int]:
    """Cell where some words begin."""
    rows = rows_of(view, size)
    y = next(at for at, row in enumerate(rows) if words in row)
    return rows[y].index(words), y


def desk_at(size: tuple[int, int], page: Page = Page.WATCH) -> Desk:
    watch = FakeWatch(samples.troubled())
    watch.history = six_hours()
    desk = Desk(watch)
    desk.take_newest()
    desk.change(page=page)
    desk.lines(*size)
    return desk


@pytest.mark.parametrize("page", list(Page))
def test_wherever_one_clicks_only_keys_of_the_page_are_meant(page: Page) -> None:
    """All over every page clicks give keys that mean something there, or none; a cell outside gives none."""
    view = replace(TROUBLED, page=page)
    for y in range(-1, 26):
        for x in (-1, 3, 30, 55, 80)[y % 2 :: 2]:
            keys = click(view, 80, 24, x, y)
            assert all(key_for(view, key) is not None for key in keys) or page is Page.HELP
            assert keys == () or 0 <= y < 24


@pytest.mark.parametrize("size", SIZES)
def test_a_click_on_a_row_opens_that_strand(size: tuple[int, int]) -> None:
    """Anywhere on the row of input 4 on the overview: its page, as by key 4."""
    calm = View(samples.healthy(), "simulated machine")
    x, y = place_of(calm, size, "4 chalk")
    assert {click(calm, *size, at, y) for at in range(0, size[0], 7)} == {("4",)}
    desk = desk_at(size)
    x, y = place_of(desk.view, size, "4 chalk")
    desk.click(x, y)
    assert desk.view.page is Page.STRAND
    assert desk.view.input == 4


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_a_click_on_a_column_of_the_picture_opens_that_strand(size: tuple[int, int]) -> None:
    """Below the head of input 5 in the picture of the hot path; beside the picture nothing is meant."""
    calm = replace(TROUBLED, latest=samples.healthy(), page=Page.PATH)
    x, y = place_of(calm, size, "5 idle")
    assert click(calm, *size, x + 2, y) == ("5",)
    assert click(calm, *size, x + 2, y + 4) == ("5",)
    assert click(calm, *size, 2, y + 4) == ()


def test_a_click_on_an_alert_marks_it() -> None:
    """From the marked alert down, or up, to the one that is clicked; on the words of it as well as on its head."""
    desk = desk_at((120, 40), Page.ALERTS)
    listed = [alert.id for alert in desk.view.listed]
    first = next(at for at, row in enumerate(rows_of(desk.view, (120, 40))) if "▸" in row)
    for wanted in (3, 1, 6, 0):
        desk.lines(120, 40)
        desk.click(20, first + wanted)
        assert desk.view.selected == listed[wanted]
    desk = desk_at((120, 60))
    x, y = place_of(desk.view, (120, 60), "◆ WARNING input 2")
    desk.click(x, y + 1)
    assert desk.view.selected == listed[1]


@pytest.mark.parametrize(
    ("words", "key"), [("? help", "?"), ("help", "?"), ("k seen", "k"), ("seen it", "k"), ("q leave", "q")]
)
def test_a_click_on_a_key_at_the_foot_presses_it(words: str, key: str) -> None:
    """The key itself or its words; the keys of strands, of which there are nine, mean none."""
    size = (120, 40)
    x = rows_of(TROUBLED, size)[-1].index(words)
    assert click(TROUBLED, *size, x, size[1] - 1) == (key,)
    strands = rows_of(TROUBLED, size)[-1].index("1-9")
    assert click(TROUBLED, *size, strands + 1, size[1] - 1) == ()


def test_while_something_is_asked_a_click_means_nothing() -> None:
    """A question at the foot is answered by keys alone: no click may pass for an answer."""
    desk = desk_at((80, 24))
    desk.press("s")
    assert desk.view.question is not None
    assert not any(click(desk.view, 80, 24, x, y) for x in range(0, 80, 5) for y in range(24))


def test_the_wheel_zooms_trends_and_moves_the_mark_elsewhere() -> None:
    """Up is closer on the page of trends, and the alert above on others."""
    assert wheel(replace(TROUBLED, page=Page.TRENDS), up=True) == "z"
    assert wheel(replace(TROUBLED, page=Page.TRENDS), up=False) == "x"
    for page in set(Page) - {Page.TRENDS}:
        assert (wheel(replace(TROUBLED, page=page), up=True), wheel(replace(TROUBLED, page=page), up=False)) == (
            "up",
            "down",
        )


def app_of(*, mouse: bool = True) -> ScreenApp:
    watch = FakeWatch(samples.troubled())
    watch.history = six_hours()
    return ScreenApp(Desk(watch), colour=True, hz=SLOW_HZ, mouse=mouse)


async def use_mouse(pilot: Pilot[None], *events: tuple[type, int, int]) -> None:
    """Hand events of the mouse to the app as the terminal's driver does, with a button held."""
    for kind, x, y in events:
        pilot.app.post_message(kind(None, x, y, 0, 0, 1, shift=False, meta=False, ctrl=False, screen_x=x, screen_y=y))
        await pilot.pause()


async def test_wheel_and_drag_move_through_the_hours() -> None:
    """The wheel changes how much time is shown, a drag to the right shows what was before, one back leads to now."""
    app = app_of()
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("v")
        await use_mouse(pilot, (MouseScrollDown, 40, 10))
        assert app.desk.view.trend.span_s == 7200.0
        await use_mouse(pilot, (MouseScrollUp, 40, 10), (MouseScrollUp, 40, 10))
        assert app.desk.view.trend.span_s == 1800.0
        await use_mouse(pilot, (MouseDown, 20, 10), (MouseMove, 40, 10), (MouseMove, 60, 11), (MouseUp, 60, 11))
        assert app.desk.view.trend.end_s == pytest.approx(NOW_S - 0.5 * 1800.0)
        assert app.desk.view.page is Page.TRENDS
        await use_mouse(pilot, (MouseDown, 60, 10), (MouseMove, 10, 10), (MouseUp, 10, 10))
        assert app.desk.view.trend.end_s is None


async def test_without_the_option_the_mouse_does_nothing() -> None:
    """Should a terminal send events nevertheless, they change nothing."""
    app = app_of(mouse=False)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("v")
        await use_mouse(pilot, (MouseScrollDown, 40, 10), (MouseDown, 20, 23), (MouseUp, 20, 23))
        assert app.desk.view.trend.span_s == 3600.0
        assert app.desk.view.page is Page.TRENDS


async def test_keys_that_come_at_once_keep_their_order() -> None:
    """Typed faster than the screen draws, or on a slow line: a search, its letters, Enter, as if typed slowly."""
    app = app_of()
    async with app.run_test(size=(80, 24)) as pilot:
        for key in ("/", *"trend of input 4, hottest", "enter", "z"):
            app.post_message(Key(key, key if len(key) == 1 else None))
        await pilot.pause()
        assert app.desk.view.finding is None
        assert app.desk.view.page is Page.TRENDS
        assert app.desk.view.trend.channel == "hottest 4"
        assert app.desk.view.trend.span_s == 1800.0


async def test_the_keys_of_trends() -> None:
    """Tab, z, x, [, ], 0, the arrows and Enter do on the page of trends what its help says."""
    app = app_of()

    async def after(*keys: str) -> TrendChoice:
        await pilot.press(*keys)
        return app.desk.view.trend

    async with app.run_test(size=(80, 24)) as pilot:
        assert (await after("v", "tab")).group is Group.DOSES
        assert (await after("shift+tab", "shift+tab")).group is Group.FEEDS
        assert (await after("x", "x")).span_s == 14_400.0
        assert (await after("z")).span_s == 7200.0
        assert (await after("[")).end_s == pytest.approx(NOW_S - 3600.0)
        assert (await after("]")).end_s is None
        assert (await after("0")).span_s is None
        assert (await after("tab", "tab", *["down"] * 7, "up", "enter")).channel == "dose 5"
        again = await after("enter")
        assert (again.group, again.marked) == (Group.DOSES, 4)
        shown = "\n".join(strip.text for strip in app.screen._compositor.render_strips())
        assert re.search(r"▸ *input 5, dose", shown)
