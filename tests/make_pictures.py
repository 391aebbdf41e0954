"""Draw the pictures in `replays/pictures/` anew: `python -m tests.make_pictures`. What they show is simulated.

Each recording has a picture of the screen just after its gravest alert was raised; one of them shows the other pages
as well. Drawing them again gives the same files; do it when screens, texts or recordings changed on purpose.
"""

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from connectors.recording import read_recording
from monitor.config import profile_from_tables
from monitor.replay.player import Player
from monitor.replay.reading import Reading
from monitor.replay.view import Mark
from monitor.tui.desk import Desk
from monitor.tui.ink import Line
from tests.line_svg import svg_of
from tests.make_replays import FOLDER as REPLAYS
from tests.make_replays import TAKES

FOLDER: Final = REPLAYS / "pictures"
AFTER_S: Final = 60.0
SOONER_S: Final = {"link-drop-outs": 20.0}
"""After so long the gravest alert is over already."""

SIZE: Final = (80, 24)
WIDE: Final = (120, 40)
PAGES: Final = {
    "page-overview": ((), WIDE),
    "page-strand": (("4",), WIDE),
    "page-trends": (("v", "tab", "0"), WIDE),
    "page-to-come": (("c",), SIZE),
    "page-alerts": (("a",), SIZE),
}
"""Pages of the recording `SHOWN`: keys that lead there, and the size."""

SHOWN: Final = "left-idle"
_HASTE_S: Final = 1.0


class _Still(Desk):
    """A desk whose clock is the recording's: the same picture each time."""

    def __init__(self, player: Player) -> None:
        super().__init__(player, monotonic=lambda: 0.0)
        self._player = player

    def _of_this_moment(self) -> dict[str, object]:
        return {"clock": self._player.replay.clock.removeprefix("then ")}


def desk_of(name: str) -> Desk:
    """The screen of a watch a minute after the gravest alert of a recording was raised."""
    recording = read_recording(REPLAYS / f"{name}.jsonl.zst")
    header = recording.header
    reading = Reading(recording, profile_from_tables(header.profile, header.materials, name).parameters)
    while not reading.is_over:
        reading.go_on(_HASTE_S)
    player = Player(reading, "a simulated machine", speed=1.0, clock=lambda: 0.0)
    gravest = max(filter(_is_alert, reading.marks.marks), key=lambda mark: (mark.kind.value, -mark.time_s))
    player.go_to(gravest.time_s + SOONER_S.get(name, AFTER_S))
    desk = _Still(player)
    desk.take_newest()
    return desk


def lines_of(picture: str) -> tuple[Line, ...]:
    """A picture of a page, or of a recording, by its name."""
    keys, size = PAGES.get(picture, ((), SIZE))
    desk = desk_of(SHOWN if picture in PAGES else picture)
    for key in keys:
        desk.press(key)
    return desk.lines(*size)


def write(folder: Path, pictures: Iterable[str]) -> None:
    """Write these pictures into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for picture in pictures:
        (width, _), name = PAGES.get(picture, ((), SIZE))[1], SHOWN if picture in PAGES else picture
        caption = f"simulated: the recording {name}, just after its gravest alert was raised"
        text = svg_of(lines_of(picture), width, f"The screen of the recording {name}", caption)
        (folder / f"{picture}.svg").write_text(text, encoding="utf-8")


def _is_alert(mark: Mark) -> bool:
    return mark.kind.priority is not None


if __name__ == "__main__":
    write(FOLDER, sys.argv[1:] or [*TAKES, *PAGES])
