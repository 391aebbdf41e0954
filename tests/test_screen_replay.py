"""The screen of a replay, driven by a pilot without a terminal: keys, bar, help, and that it stays alive."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
import zstandard

from monitor.replay.player import Player
from monitor.replay.reading import Reading
from monitor.replay.view import FASTEST, Gap, Mark, MarkKind, ReplayControl, ReplayView
from monitor.terminal_call import TerminalCall
from monitor.tui.app import ScreenApp
from monitor.tui.ink import ascii_line, width_of
from monitor.tui.jump import Aim, Jump
from monitor.tui.key_help import help_page
from monitor.tui.keys import KEYS, REPLAY_KEYS, keys_of
from monitor.tui.pages import Page
from monitor.tui.present import frame
from monitor.tui.replay_bar import bar
from monitor.tui.replay_desk import ReplayDesk
from monitor.tui.view import View
from tests import screen_samples as samples
from tests.test_replay_player import END_S, LEFT_IDLE, LIMIT_S, RAISED_S, left_idle, reading_of
from tests.test_screen import SIZES, coloured_cells, strips_of, text_of

SLOW_HZ = 0.001


def app_of(reading: Reading, *, ascii_only: bool = False, colour: bool = True) -> ScreenApp:
    player = Player(reading, "recording left-idle", speed=60.0, clock=lambda: 0.0)
    player.move_on()
    silent = TerminalCall(bell=False, notices=False)
    return ScreenApp(ReplayDesk(player, ascii_only=ascii_only), colour=colour, hz=SLOW_HZ, call=silent)


def control_of(app: ScreenApp) -> ReplayControl:
    assert isinstance(app.desk, ReplayDesk)
    return app.desk.control


def view_of(**parts: object) -> ReplayView:
    plain = ReplayView(
        time_s=6000.0,
        begin_s=0.0,
        end_s=10_000.0,
        clock="then 03:12:07",
        begin_clock="01:32",
        end_clock="04:19",
        is_playing=True,
        speed=60.0,
        is_read=True,
        end="the recording ends here",
    )
    return replace(plain, **parts)  # type: ignore[arg-type]  # checked by ReplayView itself


def words(line: object) -> str:
    return "".join(span.text for span in line)  # type: ignore[attr-defined]  # a line of spans


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("ascii_only", [False, True])
async def test_keys_lead_to_alerts_doses_feeds_and_times(size: tuple[int, int], ascii_only: bool) -> None:  # noqa: FBT001
    """Each key ends where it says, at every size, also in ASCII; the machine's values are those of that place."""
    app = app_of(left_idle(), ascii_only=ascii_only)
    async with app.run_test(size=size) as pilot:
        control = control_of(app)
        for keys, time_s in (
            (("n",), RAISED_S),
            (("d",), LIMIT_S),
            (("home",), 0.0),
            (("pagedown", "pagedown", "pageup"), 60.0),
            (("t", "t", "4", "colon", "3", "0", "enter"), 4.5 * 3600),
            (("end",), END_S),
        ):
            await pilot.press(*keys)
            await pilot.pause()
            assert control.replay.time_s == time_s
            assert f"{int(time_s) // 3600}:{int(time_s) // 60 % 60:02d}:{int(time_s) % 60:02d} of 7:00:00" in text_of(
                app
            )
        assert text_of(app).isascii() is ascii_only


async def test_a_sample_is_stepped_with_the_arrows() -> None:
    """One on, one back; stepping pauses."""
    app = app_of(left_idle())
    async with app.run_test(size=(80, 24)) as pilot:
        assert "PLAYING 60×" in text_of(app)
        await pilot.press("home", "right")
        first_s = control_of(app).replay.time_s
        await pilot.press("right", "right", "left")
        assert control_of(app).replay.time_s == first_s + 4.0
        await pilot.pause()
        assert "PAUSED 60×" in text_of(app)
        await pilot.press("plus", "space")
        await pilot.pause()
        assert "PLAYING 240×" in text_of(app)
        await pilot.press("plus", "plus", "plus")
        await pilot.pause()
        assert control_of(app).replay.speed == FASTEST
        assert "as fast as it goes" in text_of(app)


async def test_the_last_feed_of_an_input_is_asked_for_by_its_number() -> None:
    """The question names the inputs; a number answers it at once, another key takes it back."""
    app = app_of(left_idle())
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("end", "f")
        await pilot.pause()
        assert "last feed of input _   there are 1, 2, 3, 4, 5, 6" in text_of(app)
        await pilot.press("4")
        await pilot.pause()
        latest = control_of(app).latest
        assert latest is not None
        assert latest.strands[3].idle_s == 0.0
        place = control_of(app).replay.time_s
        await pilot.press("f", "x")
        await pilot.pause()
        assert "last feed" not in text_of(app)
        await pilot.press("f", "9")
        await pilot.pause()
        assert "there is no input 9" in text_of(app)
        assert control_of(app).replay.time_s == place


async def test_nothing_is_asked_of_an_alert_of_the_past() -> None:
    """The keys that acknowledge and shelve a live alert say why they do nothing here."""
    app = app_of(left_idle())
    async with app.run_test(size=(120, 40)) as pilot:
        for key in ("k", "s", "r", "o"):
            await pilot.press("n" if key == "k" else "space", key)
            await pilot.pause()
            assert "what you asked of an alert then is replayed" in text_of(app)
        assert "Unacknowledged" in text_of(app)


async def test_an_alarm_of_the_past_does_not_ring(monkeypatch: pytest.MonkeyPatch) -> None:
    """It might be taken for one of now."""
    rung: list[int] = []
    monkeypatch.setattr(ScreenApp, "bell", lambda _: rung.append(1))
    app = app_of(left_idle())
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("n", "n")
        await pilot.pause()
        assert "ALARM" in text_of(app)
    assert rung == []


async def test_standing_still_is_not_silence(monkeypatch: pytest.MonkeyPatch) -> None:
    """A paused replay concludes nothing new, and nobody is told to look after its program."""
    now_s = [0.0]
    app = app_of(left_idle())
    monkeypatch.setattr(app.desk, "_monotonic", lambda: now_s[0])
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("n")
        now_s[0] += 3600.0
        app.take_newest()
        await pilot.pause()
        assert "SILENT" not in text_of(app)
        assert "STALE" not in text_of(app)


async def test_leaving_is_at_once() -> None:
    """Nothing ends with the screen of a replay."""
    app = app_of(left_idle())
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("q")
        assert app._exit


@pytest.mark.parametrize("size", SIZES)
async def test_a_calm_place_has_no_coloured_cell_but_the_marks(size: tuple[int, int]) -> None:
    """Colour stays with what is abnormal: the marks of alerts on the bar."""
    app = app_of(left_idle())
    async with app.run_test(size=size) as pilot:
        await pilot.press("home", "pagedown", "space")
        await pilot.pause()
        assert {text for text, _ in coloured_cells(app)} <= {"◆", "▲", "●"}
        assert len(strips_of(app)) == size[1]


async def test_keys_work_while_the_recording_is_still_read() -> None:
    """The screen is there at once, says that it reads on, and takes keys."""
    app = app_of(reading_of(LEFT_IDLE))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("home")
        await pilot.pause()
        assert "reading on" in text_of(app)
        await pilot.press("n")
        await pilot.pause()
        assert "reading up to the next alert" in text_of(app)
        await pilot.press("question_mark")
        await pilot.pause()
        assert "play or pause" in text_of(app)


def test_the_page_of_help_of_a_replay_fits_a_small_screen() -> None:
    """All keys of a replay, the reading of the rows and the cautions on 80 × 24, beside the most urgent alert."""
    view = View(samples.troubled(), "a recording", page=Page.HELP, replay=view_of())
    text = "\n".join(map(words, frame(view, 80, 24)))
    assert "leave, call for help" in text
    assert "more lines" not in text
    shown = "\n".join(map(words, help_page(view, 200)))
    assert all(key.shown in shown for key in keys_of(view))
    assert "acknowledge the marked alert" not in shown
    assert "play or pause" not in "\n".join(map(words, help_page(replace(view, replay=None), 200)))


@pytest.mark.parametrize("page", list(Page))
def test_no_key_means_two_things(page: Page) -> None:
    """On every page each key has one meaning; those of a replay that a live watch has too do the same there."""
    bound = [name for key in REPLAY_KEYS if page in key.pages for name in key.keys]
    assert len(bound) == len(set(bound))
    live = {name: key.deed for key in KEYS if page in key.pages for name in key.keys}
    then = {name: key.deed for key in REPLAY_KEYS if page in key.pages for name in key.keys}
    assert all(then[name] == live[name] for name in then.keys() & live.keys())


@pytest.mark.parametrize("cells", [11, 40, 75, 200])
def test_the_bar_is_read_without_colour_and_in_ascii(cells: int) -> None:
    """Place, alerts, doses, gaps and the end stand in their cells, each by a character of its own."""
    marks = (
        Mark(1000.0, 1, MarkKind.CAUTION, "c"),
        Mark(3000.0, 2, MarkKind.WARN_DOSE, "w"),
        Mark(8000.0, 3, MarkKind.LIMIT_DOSE, "L"),
        Mark(9500.0, 4, MarkKind.ALARM, "a"),
    )
    view = view_of(marks=marks, gaps=(Gap(4000.0, 5000.0),))
    plain, basic = words(bar(view, cells)), words(ascii_line(bar(view, cells)))
    assert width_of(bar(view, cells)) == len(basic) == cells
    for character, time_s in (("●", 1000), ("w", 3000), ("▒", 4500), ("┃", 6000), ("L", 8000), ("▲", 9500)):
        assert plain[int(time_s / 10_000 * (cells - 1))] == character
    assert plain[-1] == "■"
    assert basic.isascii()
    kinds = dict(zip(plain, basic, strict=True))
    assert len(set(kinds.values())) == len(kinds)


def test_in_one_cell_the_worst_is_shown() -> None:
    """An ALARM hides a warn dose; a mark at the very place is reversed, for the place has no cell of its own."""
    marks = (Mark(6010.0, 1, MarkKind.ALARM, "a"), Mark(6000.0, 2, MarkKind.WARN_DOSE, "w"))
    line = bar(view_of(marks=marks, here=marks[1]), 21)
    assert words(line)[12] == "▲"
    assert line[12].look.reverse
    assert words(bar(view_of(marks=marks), 21))[12] == "┃"


def test_while_it_is_read_the_bar_has_no_end() -> None:
    """The end mark stands for an end that is known."""
    assert words(bar(view_of(is_read=False), 40))[-1] == "·"


def test_a_bar_of_no_length_is_drawn() -> None:
    """At the first event nothing lies between begin and end."""
    line = bar(view_of(time_s=0.0, end_s=0.0, marks=(Mark(0.0, 1, MarkKind.ALARM, "a"),)), 20)
    assert width_of(line) == 20


@contextmanager
def typed(aim: Aim, keys: Iterable[str]) -> Iterator[Jump]:
    jump: Jump | None = Jump(aim, (1, 2, 12))
    for key in keys:
        assert jump is not None
        jump = jump.typed(key)
    assert jump is not None
    yield jump


def test_what_is_typed_is_shown_as_it_will_be_taken() -> None:
    """Hours, minutes and seconds fall into place; with more than nine inputs a number ends with Enter."""
    with typed(Aim.TIME_OF_DAY, "2314") as jump:
        assert "23:14_" in jump.text
        assert jump.time_s == 23 * 3600 + 14 * 60
    with typed(Aim.TIME_OF_DAY, "173") as jump:
        assert "17:3_" in jump.text
        assert jump.time_s == 17 * 3600 + 30 * 60
    with typed(Aim.TIME_OF_DAY, ("7", ":", "0", "5", "0", "9", "1", "1", "backspace")) as jump:
        assert "07:05:0_" in jump.text
        assert jump.time_s == 7 * 3600 + 5 * 60
    with typed(Aim.TIME_OF_DAY, "23t") as jump:
        assert jump.aim is Aim.TIME_SINCE_BEGIN
        assert jump.time_s == 23 * 3600
    with typed(Aim.TIME_SINCE_BEGIN, "990000") as jump:
        assert jump.time_s == 99 * 3600
    with typed(Aim.INPUT, "12") as jump:
        assert not jump.is_done
        after = jump.typed("enter")
        assert after is not None
        assert (after.is_done, after.number) == (True, 12)
    assert Jump(Aim.TIME_OF_DAY, digits="2460").time_s is None
    assert Jump(Aim.TIME_OF_DAY).typed("x") is None
    assert Jump(Aim.INPUT, (1,)).typed("t") is None


HOSTILE = (
    b'[1e300,"ACTIVE",195.0]\n',
    b'{"kind":"clock","time_s":1e300,"wall":"9999-12-31T23:59:59+00:00"}\n',
    b'{"kind":"clock","time_s":-1e308,"wall":"0001-01-01T00:00:00+14:00"}\n',
    b'{"kind":"clock","time_s":5,"wall":{"a":[1]}}\n',
    b'{"kind":"\\u001b[2Jx","time_s":5}\n',
)


@pytest.mark.filterwarnings("ignore:overflow encountered:RuntimeWarning")
async def test_a_recording_that_claims_impossible_times_is_still_shown(tmp_path: Path) -> None:
    """Times beyond any calendar, in samples and clocks: every key works, every frame fits, nothing escapes."""
    packed = zstandard.ZstdDecompressor().stream_reader(LEFT_IDLE.read_bytes(), read_across_frames=True).read()
    lines = packed.splitlines(keepends=True)
    path = tmp_path / "hostile.jsonl"
    path.write_bytes(b"".join([*lines[:300], *HOSTILE, *lines[300:400]]))
    reading = reading_of(path)
    while not reading.is_over:
        reading.go_on(1.0)
    app = app_of(reading)
    async with app.run_test(size=(80, 24)) as pilot:
        for keys in ("end", "n", "b", "d", "right", "left", "pagedown", "t", "0", "1", "enter", "home", "space"):
            await pilot.press(keys)
            await pilot.pause()
            assert {strip.cell_length for strip in strips_of(app)} == {80}
            assert "\x1b" not in text_of(app)
        assert "of over 9999 h" in text_of(app)


async def test_a_recording_without_data_says_so(tmp_path: Path) -> None:
    """Nothing is waited for that cannot come."""
    path = tmp_path / "empty.jsonl"
    packed = zstandard.ZstdDecompressor().stream_reader(LEFT_IDLE.read_bytes(), read_across_frames=True).read()
    path.write_bytes(packed.splitlines(keepends=True)[0])
    app = app_of(reading_of(path))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("end", "n", "space")
        await pilot.pause()
        assert "the recording holds no data" in text_of(app)
