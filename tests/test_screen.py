"""The screen as an app, driven by a pilot without a terminal."""

from dataclasses import replace

import pytest
from textual.strip import Strip

from monitor.core.alert_types import AlertState, Priority
from monitor.terminal_call import TerminalCall
from monitor.tui.app import ScreenApp
from monitor.tui.desk import Desk
from monitor.tui.terminal.choices import ascii_needed, colour_wanted
from tests import screen_samples as samples
from tests.screen_samples import FakeWatch

SIZES = [(80, 24), (120, 40), (60, 15)]
SLOW_HZ = 0.001
"""So slow that only what a test does itself makes the screen ask again."""


def strips_of(app: ScreenApp) -> list[Strip]:
    return app.screen._compositor.render_strips()


def text_of(app: ScreenApp) -> str:
    return "\n".join(strip.text.rstrip() for strip in strips_of(app))


def coloured_cells(app: ScreenApp) -> list[tuple[str, str]]:
    return [
        (segment.text, str(segment.style.color or segment.style.bgcolor))
        for strip in strips_of(app)
        for segment in strip
        if segment.style is not None
        and not all(part is None or part.is_default for part in (segment.style.color, segment.style.bgcolor))
    ]


def app_of(watch: FakeWatch, *, colour: bool = True, ascii_only: bool = False, owns_watch: bool = True) -> ScreenApp:
    desk = Desk(watch, ascii_only=ascii_only, owns_watch=owns_watch)
    return ScreenApp(desk, colour=colour, hz=SLOW_HZ)


@pytest.mark.parametrize("size", SIZES)
async def test_a_healthy_screen_has_no_coloured_cell(size: tuple[int, int]) -> None:
    """Colour is for the abnormal alone: every cell of a healthy screen keeps the terminal's own colours."""
    app = app_of(FakeWatch(samples.healthy()))
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        assert "no alerts" in text_of(app)
        assert coloured_cells(app) == []


async def test_an_alarm_is_red_a_warning_yellow_a_caution_cyan() -> None:
    """The three colours are those of the terminal's own palette and stand on marks that also have a word."""
    app = app_of(FakeWatch(samples.troubled()))
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.pause()
        coloured = coloured_cells(app)
        palette = {"ALARM": 1, "WARNING": 3, "CAUTION": 6}
        for word, number in palette.items():
            assert any(word in text and f"number={number}" in colour for text, colour in coloured)
        assert {number for _, colour in coloured for number in (1, 3, 6) if f"number={number}" in colour} == {1, 3, 6}
        assert all(any(f"number={number}" in colour for number in (1, 3, 6)) for _, colour in coloured)


@pytest.mark.parametrize("size", SIZES)
async def test_the_text_is_the_same_without_colour(size: tuple[int, int], monkeypatch: pytest.MonkeyPatch) -> None:
    """Without colour no cell is coloured and no character differs."""
    monkeypatch.setattr("monitor.tui.desk._time_of_day", lambda: "03:12:07")
    texts = []
    for colour in (True, False):
        app = app_of(FakeWatch(samples.troubled()), colour=colour)
        async with app.run_test(size=size) as pilot:
            await pilot.pause()
            texts.append(text_of(app))
            assert bool(coloured_cells(app)) is colour
    assert texts[0] == texts[1]


async def test_ascii_only_reaches_the_terminal() -> None:
    """With ASCII only, no other character is left anywhere on the screen."""
    app = app_of(FakeWatch(samples.troubled()), ascii_only=True)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert "! ALARM" in text_of(app)
        assert text_of(app).isascii()


async def test_resizing_draws_anew() -> None:
    """Live resizing: the screen fits each new size, and comes back to the same picture."""
    app = app_of(FakeWatch(samples.troubled()))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        for width, height in ((120, 40), (60, 15), (200, 50), (20, 6), (80, 24)):
            await pilot.resize_terminal(width, height)
            await pilot.pause()
            strips = strips_of(app)
            assert len(strips) == height
            assert {strip.cell_length for strip in strips} == {width}
        assert "nozzle" in text_of(app)


async def test_only_changed_lines_are_drawn_again() -> None:
    """A new assessment that changes one row leaves the strips of the other rows as they were."""
    watch = FakeWatch(samples.healthy())
    app = app_of(watch)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        before = list(app.panel._strips)
        latest = samples.healthy()
        watch.latest = replace(latest, strands=(*latest.strands[:5], samples.strand(6, idle_s=4000.0)))
        app.take_newest()
        changed = [y for y, strip in enumerate(app.panel._strips) if strip is not before[y]]
        assert "1 h 06 min" in text_of(app)
        assert set(changed) <= {0, 9}  # the clock may have ticked
        assert 9 in changed


async def test_k_acknowledges_the_marked_alert() -> None:
    """The key passes on the id of the alert with the mark, and the screen shows what the watch makes of it."""
    watch = FakeWatch(samples.troubled())
    app = app_of(watch)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("k")
        assert watch.acknowledged == [samples.troubled().alerts[0].id]
        await pilot.press("down", "k")
        assert watch.acknowledged[1] == samples.troubled().alerts[1].id
        await pilot.pause()
        assert "▸◆ WARNING input 2, aged material  Acknowledged" in text_of(app)


async def test_k_without_alerts_tells_the_watch_nothing() -> None:
    """There is nothing to acknowledge on a healthy screen, nor before the first data."""
    for latest in (samples.healthy(), None):
        watch = FakeWatch(latest)
        async with app_of(watch).run_test(size=(80, 24)) as pilot:
            await pilot.press("k", "down", "up")
            assert watch.acknowledged == []


async def test_the_mark_stops_at_both_ends_and_jumps_to_a_new_alarm() -> None:
    """Arrows never leave the list; an ALARM that was not there before takes the mark."""
    watch = FakeWatch(samples.troubled())
    app = app_of(watch)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*["down"] * 20)
        assert app.desk.view.chosen == 5
        newer = replace(samples.alert(Priority.ALARM, 6), id="new")
        watch.latest = replace(samples.troubled(), alerts=(newer, *samples.troubled().alerts))
        assert app.desk.take_newest()
        assert app.desk.view.chosen == 0
        assert not app.desk.take_newest()
        await pilot.press("up")
        assert app.desk.view.chosen == 0


async def test_help_and_path_turn_to_and_fro() -> None:
    """The same key that opens a page closes it."""
    app = app_of(FakeWatch(samples.healthy()))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("question_mark")
        await pilot.pause()
        assert "cautions" in text_of(app)
        await pilot.press("question_mark", "p")
        await pilot.pause()
        assert "hot path" in text_of(app)
        assert "soft front  " not in text_of(app)
        await pilot.press("p")
        await pilot.pause()
        assert "left, at least" in text_of(app)


async def test_leaving_a_watch_of_our_own_asks_once() -> None:
    """The first press asks, another key takes it back, two presses leave."""
    app = app_of(FakeWatch(samples.healthy()))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("q")
        await pilot.pause()
        assert "leaving ends the watch: press q again" in text_of(app)
        await pilot.press("x")
        await pilot.pause()
        assert "leaving ends" not in text_of(app)
        await pilot.press("q", "q")
        assert app._exit


@pytest.mark.parametrize("ended", [True, False])
async def test_leaving_is_at_once_where_no_watch_ends(ended: bool) -> None:  # noqa: FBT001 -- a parameter of a test
    """An ended watch, and one that goes on without its screen, are left without a question."""
    watch = FakeWatch(samples.healthy())
    watch.ended = "the recording is at its end" if ended else None
    app = app_of(watch, owns_watch=ended)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("q")
        assert app._exit


async def test_an_interrupt_key_leaves_at_once() -> None:
    """Ctrl-C leaves without a question, as everywhere."""
    app = app_of(FakeWatch(samples.healthy()))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("ctrl+c")
        assert app._exit


async def test_an_ended_watch_stays_to_be_read() -> None:
    """When the watch ends, the screen says why and does not close by itself."""
    watch = FakeWatch(samples.troubled())
    app = app_of(watch)
    async with app.run_test(size=(80, 24)) as pilot:
        watch.ended = "the recording is at its end"
        app.take_newest()
        await pilot.pause()
        assert "ENDED the watch has ended: the recording is at its end" in text_of(app)
        assert not app._exit


async def test_the_first_data_replace_the_waiting() -> None:
    """Nothing yet, then the first assessment."""
    watch = FakeWatch()
    app = app_of(watch)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert "waiting for the first data from simulated machine" in text_of(app)
        watch.latest = samples.healthy()
        app.take_newest()
        await pilot.pause()
        assert "no alerts" in text_of(app)


async def test_the_age_of_the_data_goes_on_when_the_watch_stops(monkeypatch: pytest.MonkeyPatch) -> None:
    """With no new assessment the screen's own clock tells how long the watch has been silent."""
    now_s = [100.0]
    watch = FakeWatch(samples.healthy())
    app = app_of(watch)
    monkeypatch.setattr(app.desk, "_monotonic", lambda: now_s[0])
    async with app.run_test(size=(80, 24)) as pilot:
        now_s[0] += 42.0
        app.take_newest()
        await pilot.pause()
        assert "SILENT the watch has concluded nothing for 42 s" in text_of(app)
        watch.latest = replace(samples.healthy(), time_s=22_332.0)
        app.take_newest()
        await pilot.pause()
        assert "SILENT" not in text_of(app)


async def test_the_bell_rings_once_for_a_new_unacknowledged_alarm(monkeypatch: pytest.MonkeyPatch) -> None:
    """A new ALARM rings, the same one does not ring again, a WARNING or an acknowledged ALARM does not ring."""
    rung: list[int] = []
    monkeypatch.setattr(ScreenApp, "bell", lambda _: rung.append(1))
    watch = FakeWatch(replace(samples.healthy(), alerts=(samples.alert(Priority.WARNING, 2),)))
    app = app_of(watch)
    async with app.run_test(size=(80, 24)):
        assert rung == []
        seen = samples.alert(Priority.ALARM, 3, state=AlertState.ACKNOWLEDGED)
        watch.latest = replace(samples.healthy(), alerts=(seen,))
        app.take_newest()
        assert rung == []
        watch.latest = samples.troubled()
        app.take_newest()
        app.take_newest()
        assert rung == [1]


async def test_an_alarm_that_nobody_acknowledges_rings_again_and_is_notified_where_that_is_wanted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Every half minute until it is seen; the notification once, and only for who asks for it; the bell can be off."""
    now_s, rung, written = [0.0], list[float](), list[str]()
    monkeypatch.setattr("monitor.tui.app.time.monotonic", lambda: now_s[0])
    monkeypatch.setattr(ScreenApp, "bell", lambda _: rung.append(now_s[0]))
    monkeypatch.setattr(ScreenApp, "_write", lambda _, sequence: written.append(sequence))
    for bell, notices in ((True, True), (False, False)):
        watch = FakeWatch(samples.troubled())
        call = TerminalCall(bell=bell, notices=notices)
        app = ScreenApp(Desk(watch), colour=False, hz=0.001, call=call)
        async with app.run_test(size=(80, 24)):
            for second in range(70):
                now_s[0] = float(second)
                app.take_newest()
            watch.latest = samples.healthy()
            now_s[0] = 200.0
            app.take_newest()
    assert rung == [0.0, 30.0, 60.0]
    assert [text[:9] for text in written] == ["\x1b]9;ALARM"]


async def test_a_failure_in_the_screen_is_not_swallowed() -> None:
    """A mistake while drawing ends the app and is kept for `show` to raise."""
    watch = FakeWatch(samples.healthy())
    app = app_of(watch)

    async def go_wrong() -> None:
        async with app.run_test(size=(80, 24)) as pilot:
            watch.latest = "not an assessment"  # type: ignore[assignment]  # the mistake
            app.call_later(app.take_newest)
            await pilot.pause()

    with pytest.raises(AttributeError, match="alerts"):
        await go_wrong()
    assert isinstance(app.failure, AttributeError)


async def test_nothing_of_the_librarys_own_look_is_left() -> None:
    """No palette of commands, no header, no footer, and only our keys."""
    app = app_of(FakeWatch(samples.healthy()))
    async with app.run_test(size=(80, 24)) as pilot:
        before = text_of(app)
        await pilot.press("ctrl+p", "tab")
        await pilot.pause()
        assert [type(widget).__name__ for widget in app.screen.children] == ["LineWidget"]
        assert text_of(app).splitlines()[2:] == before.splitlines()[2:]


def test_no_color_counts_only_when_it_is_not_empty() -> None:
    """no-color.org: present and not an empty string, whatever its value."""
    assert not colour_wanted({"NO_COLOR": "0"})
    assert not colour_wanted({"NO_COLOR": "1"})
    assert colour_wanted({"NO_COLOR": ""})
    assert colour_wanted({})
    assert not colour_wanted({"TERM": "dumb"})


async def test_an_empty_no_color_leaves_colour_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """The screen library takes an empty NO_COLOR for a wish; the screen does not follow it."""
    monkeypatch.setenv("NO_COLOR", "")
    app = app_of(FakeWatch(samples.troubled()))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert coloured_cells(app)


@pytest.mark.parametrize(
    ("encoding", "needed"),
    [("UTF-8", False), ("utf8", False), ("ANSI_X3.4-1968", True), ("ISO-8859-1", True), ("no-such", True)],
)
def test_a_locale_without_utf8_needs_ascii(encoding: str, needed: bool) -> None:  # noqa: FBT001 -- a parameter
    """Anything but UTF-8, also what is not known, gets ASCII."""
    assert ascii_needed(encoding) is needed
