"""Whole frames at every size: nothing too wide, nothing cut that must not be, nothing that only colour tells."""

from dataclasses import replace

import pytest
from rich.cells import cell_len

from monitor.core.alert_types import Priority
from monitor.tui.ink import Line
from monitor.tui.pages import Page
from monitor.tui.present import frame
from monitor.tui.view import View
from tests import screen_samples as samples
from tests.trend_examples import six_hours

VIEWS = {
    "healthy": View(samples.healthy(), "simulated machine", clock="03:12:07"),
    "troubled": View(samples.troubled(), "simulated machine", clock="03:12:07"),
    "with a past": View(samples.healthy(), "simulated machine", clock="03:12:07", history=six_hours()),
    "unsure": View(samples.unsure(), "simulated machine", clock="03:12:07"),
    "stale": View(samples.stale(), "simulated machine", clock="03:12:07"),
    "heating up": View(samples.heating_up(), "simulated machine", clock="03:12:07"),
    "nothing yet": View(None, "simulated machine", clock="03:12:07", unheard_s=75.0),
    "ended": View(samples.troubled(), "night.jsonl", clock="03:12:07", ended="the recording is at its end"),
    "silent": View(samples.healthy(), "simulated machine", clock="03:12:07", unheard_s=75.0),
    "leaving": View(samples.healthy(), "simulated machine", clock="03:12:07", asked_to_leave=True),
    "notice": View(samples.troubled(), "simulated machine", notice="recording failed: disk full", clock="03:12:07"),
}


def text_of(lines: tuple[Line, ...]) -> str:
    return "\n".join("".join(span.text for span in line) for line in lines)


def words_of(lines: tuple[Line, ...]) -> str:
    return " ".join(text_of(lines).split())


@pytest.mark.parametrize("name", VIEWS)
@pytest.mark.parametrize("page", list(Page))
def test_a_frame_fills_its_size_exactly(name: str, page: Page) -> None:
    """From one cell to a wall of a screen: as many lines as asked for, none wider."""
    view = replace(VIEWS[name], page=page)
    for width in (1, 2, 7, 20, 39, 49, 60, 79, 80, 81, 100, 120, 160, 221):
        for height in (1, 2, 3, 5, 9, 10, 15, 24, 31, 40, 70):
            lines = frame(view, width, height)
            assert len(lines) == height
            assert max(sum(cell_len(span.text) for span in line) for line in lines) <= width


@pytest.mark.parametrize("name", VIEWS)
@pytest.mark.parametrize("page", list(Page))
def test_plain_ascii_has_nothing_else_and_the_same_shape(name: str, page: Page) -> None:
    """With ASCII only, no other character is left, also from outside text, and every cell stays where it was."""
    view = replace(VIEWS[name], page=page, source="crème brûlée 炭")
    for width, height in ((80, 24), (120, 40), (60, 15)):
        plain, full = frame(view, width, height, ascii_only=True), frame(view, width, height)
        assert text_of(plain).isascii()
        assert [[cell_len(s.text) for s in line] for line in plain] == [
            [cell_len(s.text) for s in line] for line in full
        ]


@pytest.mark.parametrize(("width", "height"), [(60, 15), (80, 24), (120, 40), (200, 50)])
def test_every_input_has_a_line(width: int, height: int) -> None:
    """A healthy watch shows all six inputs at every usual size, with what is left."""
    text = text_of(frame(VIEWS["healthy"], width, height))
    assert text.count("warn 2 h 24 min") == 5
    assert text.count("no limit ahead") == 1


@pytest.mark.parametrize(("width", "height"), [(30, 14), (40, 12), (60, 15), (80, 24), (120, 40)])
def test_the_most_urgent_action_is_whole(width: int, height: int) -> None:
    """The first alert's text and action are on the screen to the last word at every size that is sensible."""
    words = words_of(frame(VIEWS["troubled"], width, height))
    assert "the material standing hot in input 4 has taken 64 % of its limit dose" in words
    assert "do: advance 14 mm, or withdraw the strand 40 mm and let it cool" in words


@pytest.mark.parametrize("height", range(1, 12))
def test_a_screen_too_small_says_that_something_is_missing(height: int) -> None:
    """Where the first alert does not fit, the last line counts what is missing: nothing is cut in silence."""
    words = words_of(frame(VIEWS["troubled"], 30, height))
    assert "let it cool" in words or "more line" in words or "make the window" in words


def test_the_picture_is_there_at_the_usual_sizes() -> None:
    """At 80×24 and 120×40 the hot path is drawn, with and without alerts; at 60×15 it gives way to the inputs."""
    for name in ("healthy", "troubled", "stale"):
        for width, height in ((80, 24), (120, 40)):
            assert "nozzle" in text_of(frame(VIEWS[name], width, height))
        assert "nozzle" not in text_of(frame(VIEWS[name], 60, 15))


def test_a_healthy_frame_asks_for_no_colour() -> None:
    """No span of a healthy, waiting, silent or leaving screen names a priority's colour."""
    for name in ("healthy", "with a past", "heating up", "nothing yet", "silent", "leaving"):
        for page in (Page.WATCH, Page.PATH, Page.TRENDS, Page.HELP):
            lines = frame(replace(VIEWS[name], page=page), 120, 40)
            assert not [span for line in lines for span in line if span.look.signal is not None]


def test_priority_is_told_by_word_and_symbol_too() -> None:
    """Each priority that is coloured anywhere in the band also stands there as its word behind its symbol."""
    text = text_of(frame(VIEWS["troubled"], 120, 40))
    assert "▲ ALARM input 4" in text
    assert "◆ WARNING input 2" in text
    assert "● CAUTION link" in text


def test_a_silent_watch_does_not_look_alive() -> None:
    """When conclusions stop coming the age of the data goes on, and the screen says since when."""
    words = words_of(frame(VIEWS["silent"], 80, 24))
    assert "SILENT the watch has concluded nothing for 1 min" in words
    assert "data 75 s old, STALE" in words


def test_an_ended_watch_says_why_and_keeps_its_last_values() -> None:
    """The reason stands at the top; alerts and strands stay to be read, marked as not of now."""
    words = words_of(frame(VIEWS["ended"], 80, 24))
    assert "ENDED the watch has ended: the recording is at its end" in words
    assert "limit passed?" in words
    assert "ALARM input 4" in words


def test_before_the_first_data_the_screen_says_what_it_waits_for() -> None:
    """Nothing yet: the source and how long it has been waited for."""
    assert "waiting for the first data from simulated machine, 1 min so far" in words_of(
        frame(VIEWS["nothing yet"], 80, 24)
    )


def test_a_lost_machine_is_told_with_its_reason() -> None:
    """UNAVAILABLE and what happened stand above the alerts."""
    assert "UNAVAILABLE the port went away: check the cable" in words_of(frame(VIEWS["stale"], 80, 24))


def test_an_alert_is_not_hidden_by_the_help_page() -> None:
    """The help page keeps a line for the most urgent alert."""
    lines = frame(replace(VIEWS["troubled"], page=Page.HELP), 80, 24)
    assert text_of(lines).startswith(" ▲ ALARM input 4")
    assert lines[0][1].look.signal is Priority.ALARM


def test_markup_in_outside_text_is_text() -> None:
    """Square brackets from a device are shown as they are, never taken for markup."""
    latest = samples.healthy()
    odd = replace(latest, machine="[/bold] [@click=app.exit]x[/]")
    assert "[/bold] [@click=app.exit]x[/]" in text_of(frame(View(odd, "s"), 80, 24))


def test_many_inputs_still_fit() -> None:
    """Sixteen inputs on 80×24: all that fit are shown, the rest is counted."""
    latest = replace(samples.healthy(), strands=tuple(samples.strand(n) for n in range(1, 17)))
    assert len(frame(View(latest, "s"), 80, 24)) == 24
    assert "more inputs" in text_of(frame(View(latest, "s"), 80, 15))
