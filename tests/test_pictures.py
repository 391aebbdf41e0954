"""The pictures of the recordings: those of today, with colour where something is wrong, and words beside it."""

import re
from functools import cache
from html import unescape
from xml.etree import ElementTree as ET

import pytest

from monitor.core.alert_types import Priority
from monitor.tui.desk import Desk
from monitor.tui.ink import Line
from tests.make_pictures import FOLDER, PAGES, SHOWN, SIZE, desk_of
from tests.make_replays import TAKES

SAYS = {
    "left-idle": ("ALARM input 4", "is ageing", "Advance input 4 by 18 mm"),
    "cold-manifold": ("ALARM input 2", "the manifold is at 170 °C", "Raise the manifold to 190 °C"),
    "link-drop-outs": ("ALARM link", "no temperatures from the machine", "Check power, cable and controller"),
    "jam-after-idle": ("ALARM input 5", "jam after idle", "Withdraw input 5 while hot"),
    "grinding": ("ALARM input 2", "grinding", "clean its wheel"),
    "slow-clog": ("ALARM input 1", "slow clog", "Slow the build if you can"),
    "run-out": ("ALARM input 3", "the strand has run out", "Load new strand on input 3"),
    "tangle": ("ALARM input 2", "held fast on its spool", "Free the strand of input 2"),
}
"""What is wrong, where, and what to do: as `replays/README.md` says it of each picture."""


@cache
def _desk(name: str) -> Desk:
    return desk_of(name)


def _text(lines: tuple[Line, ...]) -> str:
    return "\n".join("".join(span.text for span in line).rstrip() for line in lines)


def test_every_recording_has_its_picture_and_no_other() -> None:
    """What the command draws is what lies there."""
    assert {path.stem for path in FOLDER.iterdir()} == {*TAKES, *PAGES}
    assert SAYS.keys() == TAKES.keys()


def _drawn(picture: str) -> list[str]:
    text = (FOLDER / f"{picture}.svg").read_text(encoding="utf-8")
    return [unescape(it) for it in re.findall(r'xml:space="preserve">(.*?)</text>', text, re.DOTALL)]


@pytest.mark.parametrize("picture", [*TAKES, *PAGES])
def test_a_picture_is_that_of_todays_screen(picture: str) -> None:
    """Each text in the file stands in the frame drawn now, in the same order; if not: python -m tests.make_pictures."""
    desk = _desk(SHOWN if picture in PAGES else picture)
    keys, size = PAGES.get(picture, ((), SIZE))
    view = desk.view
    for key in keys:
        desk.press(key)
    now = [span.text for line in desk.lines(*size) for span in line if span.text.strip() or span.look.reverse]
    desk.view = view  # the next test finds it as it was
    *told, caption = _drawn(picture)
    assert told == now
    assert caption.startswith("simulated: ")


@pytest.mark.parametrize("name", TAKES)
@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_a_picture_says_what_is_wrong_and_what_to_do(name: str, size: tuple[int, int]) -> None:
    """Priority and place stand in the alert's first line, what is wrong and what to do below it, whole."""
    lines = _desk(name).lines(*size)
    words = " ".join(_text(lines).split())
    assert all(said in words for said in SAYS[name])
    first = next(line for line in lines if line[0].text == "▸")
    assert SAYS[name][0] in "".join(span.text for span in first)


@pytest.mark.parametrize("name", TAKES)
def test_on_a_fault_colour_stands_where_it_belongs(name: str) -> None:
    """Some cells are coloured, no more than a twentieth of the screen, and the gravest colour is that of the ALARM."""
    lines = _desk(name).lines(*SIZE)
    coloured = [span for line in lines for span in line if span.look.signal is not None]
    assert Priority.ALARM in {span.look.signal for span in coloured}
    assert 0 < sum(len(span.text) for span in coloured) <= SIZE[0] * SIZE[1] / 20


def test_a_picture_needs_nothing_from_outside() -> None:
    """It is well-formed, runs nothing, and names no address but that of its own standard."""
    for name in (*TAKES, *PAGES):
        text = (FOLDER / f"{name}.svg").read_text(encoding="utf-8")
        ET.fromstring(text)  # noqa: S314 -- a file of our own
        assert set(re.findall(r"https?://[^\"']+", text)) == {"http://www.w3.org/2000/svg"}
        assert "<script" not in text
        assert "@import" not in text
