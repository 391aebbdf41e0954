"""Every page as it is drawn, at three sizes: kept in `__snapshots__`, so that no change of a screen goes unseen.

After a change that is meant: `pytest tests/test_screen_snapshots.py -n 0 --snapshot-update`, and read the difference.
"""

from dataclasses import replace

import pytest
from syrupy.assertion import SnapshotAssertion

from monitor.history.memory import History
from monitor.tui.ink import Line
from monitor.tui.pages import Page
from monitor.tui.present import frame
from monitor.tui.view import View
from tests import screen_samples as samples
from tests.test_screen_replay import view_of

SIZES = ((80, 24), (120, 40), (200, 60))
CALM = View(samples.healthy(), "simulated machine", clock="03:12:07")
VIEWS = {
    "healthy": CALM,
    "troubled": replace(CALM, latest=samples.troubled()),
    "stale": replace(CALM, latest=samples.stale()),
    "replay": replace(
        CALM, latest=samples.troubled(), source="recording night", clock="then 03:12:07", replay=view_of()
    ),
}


def _told(lines: tuple[Line, ...]) -> str:
    """The text, and below it what has a colour and which: that is all that colour adds."""
    text = "\n".join("".join(span.text for span in line).rstrip() for line in lines)
    signals = [
        f"{row}: {span.look.signal.name} {span.text!r}"
        for row, line in enumerate(lines)
        for span in line
        if span.look.signal is not None
    ]
    return "\n".join([text, "--- coloured", *signals])


def _history() -> History:
    """Six hours of a machine that warms a little and loses its link once."""
    history = History()
    for minute in range(0, 372, 2):
        latest = samples.healthy() if not 200 <= minute < 230 else samples.stale()
        history.take(replace(latest, time_s=60.0 * minute))
    return history


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("page", list(Page))
@pytest.mark.parametrize("name", VIEWS)
def test_a_page_looks_as_it_did(name: str, page: Page, size: tuple[int, int], snapshot: SnapshotAssertion) -> None:
    """Text and colours of every page, of a healthy, a troubled and a silent machine, and of a replay."""
    view = replace(VIEWS[name], page=page, input=4, history=_history())
    assert _told(frame(view, *size)) == snapshot
