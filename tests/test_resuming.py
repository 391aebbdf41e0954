"""A watch that ends, or is cut off, is gone on with: nothing is lost over it, nothing is told or recorded twice."""

import asyncio
import errno
import json
import os
from collections import Counter
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from connectors.recording import Conclusion, read_recording
from connectors.telemetry import LinkChange, Sample, Tick
from monitor.cli import main
from monitor.config import demo_profile
from monitor.core.alert_types import RequestKind
from monitor.core.engine import Engine
from monitor.headless import PlainPrinter
from monitor.resume.catching_up import take_up
from monitor.resume.past import past_moment
from monitor.resume.seam import resumption
from monitor.session import Session
from monitor.step import Step
from tests.recording_examples import validator
from tests.resume_examples import (
    LONG_S,
    alert_changes,
    go_on,
    hot_night,
    kinds,
    record_night,
    resumed_session,
    taken_up,
)
from tests.watch_examples import Caught, ListedLink

GAP_S = 40.0
FEEDING = 2
"""The input that feeds all night."""


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Session]:
    """The night without a break; its alert of input 4 rises at half its length and gets worse."""
    path = tmp_path_factory.mktemp("whole") / "night.jsonl"
    return path, record_night(path)


@pytest.fixture
def night(whole: tuple[Path, Session], tmp_path: Path) -> Path:
    """A copy of the night, to be cut."""
    path = tmp_path / "night.jsonl"
    path.write_bytes(whole[0].read_bytes())
    return path


def _cut(path: Path, size: int) -> None:
    os.truncate(path, size)


def _place_of_alert(data: bytes) -> int:
    """Where the line of the first alert begins."""
    return data.index(b'{"kind":"alert"')


CUTS = {
    "in a sample, early": lambda data: data.index(b"\n[600.0,") + 20,
    "between two lines": lambda data: data.index(b"\n[1200.0,") + 1,
    "after the event that raised an alert": _place_of_alert,
    "in the line of an alert": lambda data: _place_of_alert(data) + 50,
    "all but the end of its line": lambda data: data.index(b"\n", _place_of_alert(data)),
    "after an alert": lambda data: data.index(b"\n[2400.0,") + 3,
    "in the line that ends it": lambda data: len(data) - 10,
    "not at all": len,
}


@pytest.mark.parametrize("where", CUTS)
def test_a_night_cut_off_anywhere_goes_on_to_the_same_alerts_and_doses(
    where: str, night: Path, whole: tuple[Path, Session], capsys: pytest.CaptureFixture[str]
) -> None:
    """Alerts are those of the unbroken night, each once; doses of what stood are equal, and no dose is lower.

    A replay of the file comes to the recorded conclusions, and every line but a torn one fits the schema.
    """
    _cut(night, CUTS[where](night.read_bytes()))
    session = go_on(night, GAP_S)

    assert Counter(alert_changes(night)) == Counter(alert_changes(whole[0]))
    assert kinds(night).count("resumed") == 1
    assert session.latest is not None
    assert whole[1].latest is not None
    for strand, unbroken in zip(session.latest.strands, whole[1].latest.strands, strict=True):
        # what feeds to the end is fresh, and differs by where its feed stood at the last step
        assert strand.dose_now_min >= unbroken.dose_now_min - (0.1 if unbroken.input == FEEDING else 1e-6)
        if unbroken.input not in {2, 3} and where not in {"in the line that ends it", "not at all"}:
            assert strand.dose_now_min == pytest.approx(unbroken.dose_now_min, rel=1e-6)
            assert strand.idle_s == pytest.approx(unbroken.idle_s)
    assert main(["replay", str(night)]) == 0
    assert "conclusions: as recorded then (changes of alerts: 5)" in capsys.readouterr().out
    _check_schema(night)


def _check_schema(path: Path) -> None:
    torn = 0
    for line in path.read_bytes().splitlines()[1:]:
        try:
            content = json.loads(line)
        except ValueError:
            torn += 1
            continue
        validator("line").validate(content)
    assert torn <= 1


def test_a_resumed_watch_knows_the_past_and_when_nobody_watched(night: Path) -> None:
    """Before the new start it is what an unbroken watch remembers of every minute; the time between is a gap."""
    _cut(night, CUTS["between two lines"](night.read_bytes()))
    resumed = taken_up(night, GAP_S)
    end_s = resumed.taken.caught_up.last_s
    session = resumed_session(resumed, hot_night(resumed.time_s, resumed.time_s + 100.0))
    session.keep_history(past=resumed.taken.caught_up.history)
    unbroken = Session(ListedLink(hot_night(0.0, end_s + 1.0)), Engine(demo_profile().parameters), name="test")
    unbroken.keep_history(60.0)
    for watch in (session, unbroken):
        asyncio.run(watch.run())
    for key in set(unbroken.history.keys) - {f"slip {number}" for number in range(1, 7)}:
        past, truth = (watch.history.trend(key, 60.0, end_s - 30.0, 20) for watch in (session, unbroken))
        assert past.known.all()
        np.testing.assert_allclose([past.low, past.high, past.last], [truth.low, truth.high, truth.last], rtol=1e-6)
        assert not session.history.trend(key, end_s + 4.0, resumed.time_s - 4.0, 9).known.any()
        assert session.history.trend(key, resumed.time_s + 12.0, resumed.time_s + 96.0, 9).known.all()


def test_summaries_that_cannot_be_read_are_left_out() -> None:
    """A past that is only for looking at never keeps a watch from going on."""
    whole = {"quality": "GOOD", "walls": [], "strands": []}
    assert past_moment(1.0, whole) is not None
    for wrong in ({}, {**whole, "quality": "SUPERB"}, {**whole, "walls": [{"sensor": 3}]}, {**whole, "strands": None}):
        assert past_moment(1.0, wrong) is None


def test_a_night_may_be_cut_off_again_and_again(night: Path, whole: tuple[Path, Session]) -> None:
    """Three restarts in one hour: the alerts are the same, the times go on."""
    _cut(night, CUTS["in a sample, early"](night.read_bytes()))
    go_on(night, 30.0, 1500.0)
    _cut(night, night.stat().st_size - 30)
    go_on(night, 5.0, 2500.0)
    go_on(night, 100.0)
    assert Counter(alert_changes(night)) == Counter(alert_changes(whole[0]))
    times = [item.time_s for item in read_recording(night).items() if isinstance(item, Sample)]
    assert times == sorted(times)
    assert kinds(night).count("resumed") == 3


def test_what_was_acknowledged_stays_acknowledged(night: Path) -> None:
    """The owner's request of before is played again, not asked again: the alert stands as he left it."""
    _cut(night, CUTS["after an alert"](night.read_bytes()))
    resumed = taken_up(night, GAP_S)
    session = resumed_session(resumed, hot_night(resumed.time_s, 2600.0))
    session.ask(RequestKind.ACKNOWLEDGE, "dose/input 4/1")
    asyncio.run(session.run())
    again = taken_up(night, GAP_S)
    step = again.taken.caught_up.step
    assert step is not None
    assert [(alert.id, alert.state) for alert in step.assessment.alerts] == [("dose/input 4/1", "Acknowledged")]
    standing = again.standing()
    assert standing is not None
    assert standing.transitions == ()
    again.taken.close()


def test_what_calls_is_shown_at_once_and_the_notifier_tells_it_by_itself(night: Path) -> None:
    """Printers show the unacknowledged alert before anything comes from the machine; it is not recorded again."""
    _cut(night, CUTS["after an alert"](night.read_bytes()))
    resumed, caught = taken_up(night, 180.0), Caught()
    session = resumed_session(resumed, [])
    notifier = _Noted()
    session.notify_with(notifier)
    session.observe(PlainPrinter(caught.output, session, None).take)
    asyncio.run(session.run())
    assert "goes on: input 4 (demo-chalk) is ageing" in caught.lines[0]
    assert "link down: the watch was started anew: nobody watched for 3 min" in caught.lines[2]
    assert any(f"resumed from {night.name}: nobody watched for 3 min" in text for text in caught.messages)
    assert [type(step.event) for step in notifier.steps] == [LinkChange]
    assert [alert.id for alert in notifier.steps[0].assessment.alerts] == ["dose/input 4/1"]
    assert len(alert_changes(night)) == 1


class _Noted:
    """A notifier that keeps what it is shown."""

    notice = ""

    def __init__(self) -> None:
        self.steps: list[Step] = []

    def take(self, step: Step) -> None:
        """Keep it."""
        self.steps.append(step)

    async def close(self, reason: str | None = None) -> None:
        """Nothing to finish."""


def test_feed_of_which_nobody_knows_leaves_idle_time_and_dose_open(night: Path) -> None:
    """Over ten unwatched minutes any strand may have fed: the low end of the range is that it did so until just now.

    Alerts go by the other end, so nothing is lost by it. Of a gap shorter than the age of stale data nothing is said.
    """
    _cut(night, night.read_bytes().index(b"\n[2404.0,") + 3)
    before = night.read_bytes()
    latest = go_on(night, 600.0, 3200.0).latest
    assert latest is not None
    stood = latest.strands[3]
    assert stood.idle_s == pytest.approx(latest.time_s, abs=1.0)
    assert stood.idle_low_s is not None
    assert stood.idle_low_s == pytest.approx(latest.time_s - 3000.0, abs=15.0)
    assert stood.dose_low_min is not None
    assert stood.dose_low_min < 0.2 * stood.dose_now_min
    assert latest.strands[0].activity == "idle"

    night.write_bytes(before)
    shortly = go_on(night, 2.0, 2500.0).latest
    assert shortly is not None
    assert (shortly.strands[3].idle_low_s, shortly.strands[3].dose_low_min) == (None, None)


def test_a_clock_that_was_set_back_counts_as_no_gap_and_is_told(night: Path) -> None:
    """The watch goes on where it ended; the recording says that the gap is not known."""
    _cut(night, CUTS["between two lines"](night.read_bytes()))
    resumed = taken_up(night, -7200.0)
    assert resumed.time_s == resumed.taken.caught_up.last_s
    assert "set back" in resumed.lines()[0]
    asyncio.run(resumed_session(resumed, []).run())
    seam = next(
        item for item in read_recording(night).items() if isinstance(item, Conclusion) and item.kind == "resumed"
    )
    assert seam.data["gap_s"] is None
    _check_schema(night)


def test_lost_lines_are_told(night: Path) -> None:
    """A gap in the recording, or a damaged line, does not keep it from being gone on with; the owner is told."""
    gap = b'{"kind":"gap","time_s":4000.0,"lines_lost":3,"reason":"the disk is full"}\n'
    for more in (gap, b"damaged\n"):
        whole_night = night.read_bytes()
        night.write_bytes(whole_night + more)
        resumed = taken_up(night, GAP_S)
        assert "parts of that recording are missing" in resumed.lines()[1]
        resumed.taken.close()
        night.write_bytes(whole_night)


def test_a_full_disk_at_the_seam_is_made_up_for_later(night: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No room even for the seam: told, and the watch goes on; with room the seam comes first, whole and once."""
    _cut(night, CUTS["after the event that raised an alert"](night.read_bytes()))
    true_write, room = os.write, [100]

    def little_room(file: int, data: bytes) -> int:
        if room[0] <= 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        written = true_write(file, data[: room[0]])
        room[0] -= written
        return written

    monkeypatch.setattr(os, "write", little_room)
    resumed = taken_up(night, GAP_S)
    session = resumed_session(resumed, hot_night(resumed.time_s, LONG_S))
    assert "the disk is full" in session.notice
    room[0] = 10**9
    asyncio.run(session.run())
    assert kinds(night).count("resumed") == 1
    assert alert_changes(night).count(("raised", "dose/input 4/1")) == 1
    assert kinds(night).index("alert") < kinds(night).index("resumed") < kinds(night).index("gap")
    _check_schema(night)


def test_a_link_that_never_opens_leaves_the_resumed_recording_in_place(night: Path) -> None:
    """What was recorded before is kept, whatever becomes of the new process."""
    resumed = taken_up(night, GAP_S)
    session = resumed_session(resumed, [])
    asyncio.run(session.run())
    assert not session.is_discarded
    assert night.exists()
    assert kinds(night)[-1] == "end"


def test_the_gap_is_reckoned_by_the_newest_pair_of_clocks(night: Path) -> None:
    """The clock drifts from the recording's time; the last pair counts, carried on to the last line."""
    pair = b'{"kind":"clock","time_s":3590.0,"wall":"2030-01-01T00:00:00Z"}\n{"kind":"clock","time_s":1,"wall":"no"}\n'
    night.write_bytes(night.read_bytes() + pair)
    taken = take_up(night, demo_profile())
    wall = taken.caught_up.pair.wall
    assert wall.year == 2030
    gone_on = resumption(taken, wall + timedelta(seconds=100.0))
    assert gone_on.time_s == pytest.approx(3690.0)
    taken.close()


def test_a_machine_that_answers_soon_after_a_restart_raises_no_alarm_for_the_gap(night: Path) -> None:
    """Ten minutes unwatched, first data 8 s after the start: 'no data' is held back; one that stays silent is told."""
    _cut(night, CUTS["between two lines"](night.read_bytes()))
    before = night.read_bytes()
    resumed = taken_up(night, 600.0)
    waiting = [Tick(resumed.time_s + second) for second in range(1, 8)]
    answer = hot_night(resumed.time_s + 8.0, resumed.time_s + 30.0)
    asyncio.run(resumed_session(resumed, [*waiting, *answer]).run())
    assert [change for change in alert_changes(night) if change[1].startswith("link")] == [
        ("suppressed", "link/link/1"),
        ("cleared", "link/link/1"),
    ]

    night.write_bytes(before)
    resumed = taken_up(night, 600.0)
    silent = [Tick(resumed.time_s + second) for second in range(1, 90)]
    asyncio.run(resumed_session(resumed, silent).run())
    items = [item for item in read_recording(night).items() if isinstance(item, Conclusion) and item.kind == "alert"]
    (raised,) = (item for item in items if item.data["event"] == "raised")
    assert raised.data["id"] == "link/link/1"
    patience_s = demo_profile().parameters.limits.unavailable_after_s
    assert raised.time_s - resumed.time_s == pytest.approx(patience_s + 1.0)
