"""The recorder: nothing acknowledged is lost, and no trouble with the disk ever reaches the watch."""

import errno
import json
import math
import os
import signal
import stat
import subprocess
import sys
import threading
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from connectors.errors import RecordingError
from connectors.recording import Conclusion, read_recording
from connectors.telemetry import Sample, Tick
from monitor.recording import place as recording_place
from monitor.recording.recorder import RETRY_EVERY_S, Recorder
from tests.recording_examples import HEADER, NIGHT, validator

NEVER_S = 3600.0
"""Spacing of syncs in tests that do not want the thread to take part."""

WALL = datetime(2026, 11, 25, 21, 0, 0, tzinfo=UTC)


class Clock:
    """A clock that stands until it is set."""

    now_s = 0.0

    def __call__(self) -> float:
        """Time now [s]."""
        return self.now_s


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def recorder(tmp_path: Path, clock: Clock) -> Iterator[Recorder]:
    made = Recorder(tmp_path / "night.jsonl", HEADER, sync_every_s=NEVER_S, clock=clock, wall=lambda: WALL)
    yield made
    made.close()


def _lines(recorder: Recorder) -> list[bytes]:
    return recorder.path.read_bytes().splitlines(keepends=True)


def _failure(recorder: Recorder) -> str:
    assert recorder.failure is not None
    return recorder.failure


def test_a_night_is_on_disk_as_it_happens(recorder: Recorder) -> None:
    """Each event can be read from the file the moment `record_event` returns, without any close or flush."""
    for count, event in enumerate(NIGHT, start=1):
        recorder.record_event(event)
        items = [item for item in read_recording(recorder.path).items() if not isinstance(item, Conclusion)]
        assert items == list(NIGHT[:count])
    recorder.record_conclusion("alert", 2.5, {"event": "raised"})
    assert [*read_recording(recorder.path).items()][-1] == Conclusion("alert", 2.5, {"event": "raised"})
    assert recorder.failure is None


def test_a_closed_recording_ends_with_its_reason_and_fits_the_schema(recorder: Recorder, clock: Clock) -> None:
    """The end line comes last; every line of the file is valid; closing again changes nothing."""
    for event in NIGHT:
        recorder.record_event(event)
    recorder.record_conclusion("acknowledge", 2.5, {"alert_id": "dose-4-1", "actor": "screen"})
    clock.now_s = 3.0
    recorder.close("stopped by the owner")
    recorder.close()
    recorder.record_event(Tick(9.0))
    header, *lines = [json.loads(line) for line in _lines(recorder)]
    validator("header").validate(header)
    for line in lines:
        validator("line").validate(line)
    assert lines[-1] == {"kind": "end", "time_s": 3.0, "reason": "stopped by the owner"}
    assert recorder.failure is None


def test_clocks_are_paired_every_minute(recorder: Recorder, clock: Clock) -> None:
    """Wall clock and our own are written together with the first event and then once a minute of the recording."""
    for second in range(0, 181, 5):
        clock.now_s = second + 0.25
        recorder.record_event(Tick(float(second)))
    pairs = [item for item in read_recording(recorder.path).items() if isinstance(item, Conclusion)]
    assert [pair.time_s for pair in pairs] == [0.25, 60.25, 120.25, 180.25]
    assert pairs[0] == Conclusion("clock", 0.25, {"wall": "2026-11-25T21:00:00Z"})


def test_only_the_owner_may_read_it_and_nothing_is_overwritten(recorder: Recorder, clock: Clock) -> None:
    """Mode 0600; a name that is taken is refused, and its file stays as it was."""
    assert stat.S_IMODE(recorder.path.stat().st_mode) == 0o600
    before = recorder.path.read_bytes()
    with pytest.raises(RecordingError, match=r"night\.jsonl exists already.*another name"):
        Recorder(recorder.path, HEADER, clock=clock)
    assert recorder.path.read_bytes() == before


def test_each_line_is_one_write(recorder: Recorder, monkeypatch: pytest.MonkeyPatch) -> None:
    """A line goes to the system whole, newline included, so that two processes can never mix within a line."""
    written: list[bytes] = []
    true_write = os.write

    def watched_write(file: int, data: bytes) -> int:
        written.append(data)
        return true_write(file, data)

    monkeypatch.setattr(os, "write", watched_write)
    recorder.record_event(Tick(0.0))
    recorder.record_event(Tick(1.0))
    assert [json.loads(line) for line in written[1:]] == [[0.0], [1.0]]
    assert all(line.endswith(b"\n") for line in written)


def test_short_writes_are_completed(recorder: Recorder, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the system takes a few bytes at a time, the rest follows."""
    true_write = os.write
    monkeypatch.setattr(os, "write", lambda file, data: true_write(file, data[:3]))
    recorder.record_event(NIGHT[1])
    monkeypatch.undo()
    assert [*read_recording(recorder.path).items()][-1] == NIGHT[1]


def test_a_directory_gets_names_that_sort_by_time(tmp_path: Path, clock: Clock) -> None:
    """A missing directory is made; the name holds start and machine; two starts in one second do not collide."""
    paths = []
    for _ in range(3):
        recorder = Recorder(tmp_path / "new" / "nights", HEADER, sync_every_s=NEVER_S, clock=clock)
        recorder.close()
        paths.append(recorder.path)
    stem = "2026-11-25T22-00-00_garage-six"
    assert [path.name for path in paths] == [f"{stem}.jsonl", f"{stem}_2.jsonl", f"{stem}_3.jsonl"]
    assert all(read_recording(path).header == HEADER for path in paths)


@pytest.mark.parametrize(
    ("machine", "words"),
    [
        ("../../etc/passwd", "etc-passwd"),
        ("a/b\\c:d*e", "a-b-c-d-e"),
        ("", "machine"),
        ("...", "machine"),
        ("\x1b[2J\u202e", "2J"),
        ("größe 6", "größe-6"),
        ("x" * 500, "x" * 40),
    ],
)
def test_machine_names_are_made_safe_for_files(machine: str, words: str) -> None:
    """No name leads out of the directory, hides the file or is too long for a file system."""
    name = recording_place.file_name(replace(HEADER, machine=machine))
    assert name == f"2026-11-25T22-00-00_{words}.jsonl"
    assert len(name.encode()) < 255


def test_the_default_place_is_the_users_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, clock: Clock) -> None:
    """Without a place, recordings go below the user's data directory (XDG Base Directory Specification)."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    recorder = Recorder(None, HEADER, sync_every_s=NEVER_S, clock=clock)
    recorder.close()
    assert recorder.path.parent == tmp_path / "strandwatch" / "recordings"


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path, clock: Clock) -> None:
    """The message names the place, the system's reason and a way out."""
    (tmp_path / "file").write_text("")
    for where in (tmp_path / "file" / "below", tmp_path / "missing" / "night.jsonl", Path("/proc/strandwatch")):
        with pytest.raises(RecordingError, match=rf"no recording can be written to {where}: .*Choose a directory"):
            Recorder(where, HEADER, clock=clock)
    with pytest.raises(RecordingError, match=r"night\.csv is no name for a recording: it should end in \.jsonl"):
        Recorder(tmp_path / "night.csv", HEADER, clock=clock)


def test_a_full_disk_is_told_and_never_raises(recorder: Recorder) -> None:
    """With the kernel's own answer for a full disk, recording fails visibly and the caller goes on."""
    recorder.record_event(Tick(0.0))
    full = os.open("/dev/full", os.O_WRONLY)
    os.dup2(full, recorder._file)
    os.close(full)
    recorder.record_event(Tick(1.0))
    recorder.record_conclusion("alert", 1.0, {})
    assert "the disk is full" in _failure(recorder)
    assert str(recorder.path) in _failure(recorder)


def test_a_deleted_recording_is_told(recorder: Recorder) -> None:
    """A file removed under a running watch is noticed at the next sync."""
    recorder.record_event(Tick(0.0))
    recorder.sync()
    assert recorder.failure is None
    recorder.path.unlink()
    recorder.sync()
    assert "was deleted" in _failure(recorder)


def test_a_line_that_cannot_be_encoded_costs_itself_alone(recorder: Recorder) -> None:
    """A mistake of ours in one line is told; the lines after it are recorded."""
    recorder.record_event(Sample(0.0, {"temp_c:manifold": math.nan}))
    recorder.record_conclusion("alert", 0.0, {"wrong": object()})
    assert "left out" in _failure(recorder)
    recorder.record_event(Tick(1.0))
    assert [*read_recording(recorder.path).items()][-1] == Tick(1.0)


def test_the_disk_is_asked_in_the_background(tmp_path: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch) -> None:
    """Syncs run in a thread of their own: while one hangs, events are recorded as ever; closing waits for it."""
    hangs, release = threading.Event(), threading.Event()
    askers: set[int] = set()

    def slow_disk(_file: int) -> None:
        askers.add(threading.get_ident())
        hangs.set()
        assert release.wait(10)

    monkeypatch.setattr(os, "fdatasync", slow_disk)
    recorder = Recorder(tmp_path / "night.jsonl", HEADER, sync_every_s=0.001, clock=clock)
    true_join = recorder._syncer.join

    def release_then_join() -> None:
        release.set()
        true_join(10)

    monkeypatch.setattr(recorder._syncer, "join", release_then_join)
    assert hangs.wait(10)
    recorder.record_event(Tick(1.0))
    assert [*read_recording(recorder.path).items()][-1] == Tick(1.0)
    assert threading.get_ident() not in askers
    recorder.close()
    assert not recorder._syncer.is_alive()


def test_a_failing_sync_is_told(recorder: Recorder, monkeypatch: pytest.MonkeyPatch) -> None:
    """An input/output error of the disk shows, though every write had succeeded."""

    def broken_disk(_file: int) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(os, "fdatasync", broken_disk)
    recorder.sync()
    assert "Input/output error" in _failure(recorder)
    monkeypatch.undo()
    recorder.record_event(Tick(1.0))
    assert [*read_recording(recorder.path).items()][-1] == Tick(1.0)


def test_a_sync_that_works_again_ends_the_failure(recorder: Recorder, monkeypatch: pytest.MonkeyPatch) -> None:
    """The owner is no longer told that recording fails, but that it failed: the system need not keep what it lost."""
    with monkeypatch.context() as patch:
        patch.setattr(os, "fdatasync", _broken_disk)
        recorder.sync()
        assert "keeps trying" in _failure(recorder)
    recorder.sync()
    assert "failed for a while, and works again" in _failure(recorder)
    assert "keeps trying" not in _failure(recorder)


def test_a_sync_that_works_does_not_hide_that_nothing_is_written(
    recorder: Recorder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What cannot be written stays told, whatever a sync says of what was written before."""
    with monkeypatch.context() as patch:
        patch.setattr(os, "fdatasync", _broken_disk)
        recorder.sync()
        patch.setattr(os, "write", _full_disk)
        recorder.record_event(Tick(1.0))
    recorder.sync()
    assert "the disk is full" in _failure(recorder)


def test_a_time_of_day_that_jumps_is_recorded_and_moves_nothing(tmp_path: Path, clock: Clock) -> None:
    """Set eight hours forward and then back, events keep their times; the two clocks are seen to drift apart."""
    walls = iter([WALL, WALL + timedelta(hours=8), WALL + timedelta(minutes=2)])
    recorder = Recorder(tmp_path / "night.jsonl", HEADER, sync_every_s=NEVER_S, clock=clock, wall=lambda: next(walls))
    for minute in range(3):
        clock.now_s = 60.0 * minute
        recorder.record_event(Tick(clock.now_s))
    recorder.close()
    items = [*read_recording(recorder.path).items()]
    assert [item.time_s for item in items if isinstance(item, Tick)] == [0.0, 60.0, 120.0]
    told = [item for item in items if isinstance(item, Conclusion) and item.kind == "clock"]
    assert [(item.time_s, item.data["wall"]) for item in told] == [
        (0.0, "2026-11-25T21:00:00Z"),
        (60.0, "2026-11-26T05:00:00Z"),
        (120.0, "2026-11-25T21:02:00Z"),
    ]


def test_closing_tries_once_more(recorder: Recorder, clock: Clock, monkeypatch: pytest.MonkeyPatch) -> None:
    """A watch that ends while its recording waits to try again still tells the gap and the end, if there is room."""
    with monkeypatch.context() as patch:
        patch.setattr(os, "write", _full_disk)
        recorder.record_event(Tick(1.0))
    clock.now_s = RETRY_EVERY_S / 2
    recorder.close("stopped by the owner")
    items = [item for item in read_recording(recorder.path).items() if isinstance(item, Conclusion)]
    assert [item.kind for item in items] == ["gap", "end"]
    assert items[0].data["lines_lost"] == 2  # a clock line and the tick
    assert items[1].data["reason"] == "stopped by the owner"


def test_a_disk_that_turns_read_only_in_mid_watch(
    recorder: Recorder, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As a file system does that met an error (mount(8), errors=remount-ro): told, and recorded again once it can be.

    All that was written before stands, and what is missing is told in a gap.
    """
    for second in range(5):
        recorder.record_event(Tick(float(second)))
    before = recorder.path.read_bytes()
    with monkeypatch.context() as patch:
        patch.setattr(os, "write", _read_only_disk)
        patch.setattr(os, "fdatasync", _read_only_disk)
        for second in range(5, 100):
            clock.now_s = float(second)
            recorder.record_event(Tick(clock.now_s))
            recorder.sync()
        assert "Read-only file system" in _failure(recorder)
        assert "keeps trying" in _failure(recorder)
        assert recorder.path.read_bytes() == before
    clock.now_s += RETRY_EVERY_S
    recorder.record_event(Tick(clock.now_s))
    recorder.sync()
    assert "gap" in _failure(recorder)
    items = [*read_recording(recorder.path).items()]
    (gap,) = (item for item in items if isinstance(item, Conclusion) and item.kind == "gap")
    assert gap.data["lines_lost"] == 96  # 95 ticks and a line with the time of day
    assert items[-1] == Tick(clock.now_s)
    assert recorder.path.read_bytes().startswith(before)


def test_a_discarded_recording_is_gone_and_nothing_else_is(recorder: Recorder, tmp_path: Path) -> None:
    """What stands at its name by then, if it is another file, stays; discarding or closing again changes nothing."""
    other = Recorder(tmp_path / "other.jsonl", HEADER, sync_every_s=NEVER_S, clock=lambda: 0.0)
    other.path.unlink()
    other.path.write_text("mine")
    other.discard()
    assert other.path.read_text() == "mine"
    recorder.discard()
    recorder.discard()
    recorder.close()
    recorder.record_event(Tick(1.0))
    assert not recorder.path.exists()
    assert not recorder._syncer.is_alive()


def _broken_disk(_file: int) -> None:
    raise OSError(errno.EIO, "Input/output error")


def _read_only_disk(_file: int, _data: bytes = b"") -> int:
    raise OSError(errno.EROFS, os.strerror(errno.EROFS))


def _full_disk(_file: int, _data: bytes) -> int:
    raise OSError(errno.ENOSPC, "No space left on device")


def _run(script: str, *arguments: str) -> subprocess.Popen[bytes]:
    root = Path(__file__).parent.parent
    preamble = "from pathlib import Path\nimport os, sys\nfrom tests.recording_examples import HEADER\n"
    preamble += "from connectors.telemetry import Sample, Tick\nfrom monitor.recording.recorder import Recorder\n"
    command = [sys.executable, "-c", preamble + script, *arguments]
    return subprocess.Popen(command, stdout=subprocess.PIPE, cwd=root)  # noqa: S603 -- our own script


ENDLESS_WATCH = """
recorder = Recorder(Path(sys.argv[1]), HEADER, sync_every_s=0.01, clock=lambda: 0.0)
number = 0
while True:
    number += 1
    recorder.record_event(Sample(number / 4, {"fed_mm:1": float(number), f"temp_c:s{number // 500}": 195.0}))
    os.write(1, b"%d\\n" % number)
"""


def test_a_killed_watch_loses_nothing_acknowledged(tmp_path: Path) -> None:
    """SIGKILL in the middle of writing: every line whose writing had returned is there, and the rest reads back."""
    path = tmp_path / "night.jsonl"
    with _run(ENDLESS_WATCH, str(path)) as watch:
        assert watch.stdout is not None
        acknowledged = [int(watch.stdout.readline()) for _ in range(3000)]
        watch.send_signal(signal.SIGKILL)
        acknowledged += [int(line) for line in watch.stdout.read().splitlines()]
        assert watch.wait(30) == -signal.SIGKILL
    recording = read_recording(path)
    fed = [item.values["fed_mm:1"] for item in recording.items() if isinstance(item, Sample)]
    assert acknowledged == list(range(1, len(acknowledged) + 1))
    assert len(acknowledged) >= 3000
    assert fed[: len(acknowledged)] == acknowledged
    assert len(fed) - len(acknowledged) in {0, 1}
    assert recording.skipped == 0


FULL_THEN_FREED = """
import resource
_, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[2]), hard))
now_s = 0.0
recorder = Recorder(Path(sys.argv[1]), HEADER, sync_every_s=3600, clock=lambda: now_s)
number = 0
while recorder.failure is None:
    number += 1
    now_s = float(number)
    recorder.record_event(Sample(now_s, {"fed_mm:1": now_s}))
print(recorder.failure)
for _ in range(5):
    number += 1
    recorder.record_event(Sample(float(number), {"fed_mm:1": float(number), "temp_c:late": 21.0}))
resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
now_s += float(sys.argv[3])
for _ in range(5):
    number += 1
    recorder.record_event(Sample(float(number), {"fed_mm:1": float(number), "temp_c:late": 22.0}))
print(recorder.failure)
recorder.close()
print(number)
"""


@pytest.mark.parametrize(("room", "lost_besides"), [(3000, 0), (10, 2)], ids=["among the events", "in the header"])
def test_a_recording_resumes_when_there_is_room_again(tmp_path: Path, room: int, lost_besides: int) -> None:
    """Out of room in mid-line, later freed: what was lost is told in a gap, and all that follows reads back."""
    path = tmp_path / "night.jsonl"
    with _run(FULL_THEN_FREED, str(path), str(room), str(RETRY_EVERY_S)) as watch:
        assert watch.stdout is not None
        output = watch.stdout.read().decode().splitlines()
        assert watch.wait(30) == 0
    assert "recording failed: File too large" in output[0]
    assert "gap" in output[1]
    last = int(output[2])
    recording = read_recording(path)
    items = list(recording.items())
    samples = [item for item in items if isinstance(item, Sample)]
    gaps = [item for item in items if isinstance(item, Conclusion) and item.kind == "gap"]
    assert recording.header == HEADER
    assert recording.skipped <= 1
    assert len(gaps) == 1
    assert len(samples) + gaps[0].data["lines_lost"] == last + lost_besides  # the header and a clock line, if so
    assert [sample.values for sample in samples[-5:]] == [
        {"fed_mm:1": float(number), "temp_c:late": 22.0} for number in range(last - 4, last + 1)
    ]


def test_a_failed_recording_leaves_the_disk_alone_for_a_while(
    recorder: Recorder, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between two tries nothing is written, so that a broken disk does not slow the watch down."""
    tries = 0

    def broken_disk(_file: int, _data: bytes) -> int:
        nonlocal tries
        tries += 1
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(os, "write", broken_disk)
    for tenth in range(250):
        clock.now_s = tenth / 10
        recorder.record_event(Tick(clock.now_s))
    assert tries == 3
