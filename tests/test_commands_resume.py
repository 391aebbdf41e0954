"""`watch` started anew: it goes on with the newest recording of its machine, or says why it does not."""

import os
import signal
import subprocess
import time
from datetime import datetime, timedelta
from itertools import cycle
from pathlib import Path

import pytest

from connectors.recording import Conclusion, read_recording
from connectors.telemetry import Sample
from monitor.cli import main
from tests.test_commands_watch import REPORT, SAFETY_S, Device, _profile, _read_until, _serial, _watching
from tests.test_commands_watch import device as device  # noqa: PLC0414 -- a fixture

AGO_S = 3660.0
"""An hour and a minute."""
_TEMPERATURES = cycle(range(191, 200))


def _watched(device: Device, *words: str, last: signal.Signals = signal.SIGKILL) -> str:
    """Watch until a sample of its own has come, then end the watch; what it said.

    Each watch is told another temperature: one that was resumed shows the last of the one before at once.
    """
    manifold_c = next(_TEMPERATURES)
    with _watching(device.profile, "--record", str(device.recordings), *words) as process:
        told = _read_until(process, "link up")
        device.says(REPORT.replace(b"195.1", f"{manifold_c}.1".encode()))
        told += _read_until(process, f"manifold {manifold_c} °C")
        process.send_signal(last)
        out, err = process.communicate(timeout=SAFETY_S)
    return told + out + err


def _recordings(device: Device) -> list[Path]:
    return sorted(device.recordings.iterdir())


@pytest.fixture
def recorded(device: Device) -> Device:
    """Return a device of which a watch was killed just now."""
    _watched(device)
    return device


def _age(path: Path, by_s: float) -> None:
    """Make a recording as old as if it had been left for so long [s]: its clocks and the file's time."""
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    for number, line in enumerate(lines):
        if line.startswith('{"kind":"clock"'):
            lines[number] = _earlier(line, by_s)
    path.write_text("".join(lines), encoding="utf-8")
    then = time.time() - by_s
    os.utime(path, (then, then))


def _earlier(line: str, by_s: float) -> str:
    head, _, rest = line.partition('"wall":"')
    wall, _, tail = rest.partition('"')
    return f'{head}"wall":"{(datetime.fromisoformat(wall) - timedelta(seconds=by_s)).isoformat()}"{tail}'


def test_a_killed_watch_is_gone_on_with_unasked(recorded: Device, capsys: pytest.CaptureFixture[str]) -> None:
    """SIGKILL, then the same command: the same file, times that go on, and a word about it; a replay agrees."""
    said = _watched(recorded, last=signal.SIGTERM)
    (path,) = _recordings(recorded)
    items = list(read_recording(path).items())
    samples = [item for item in items if isinstance(item, Sample)]
    seams = [item for item in items if isinstance(item, Conclusion) and item.kind == "resumed"]

    assert f"resumed from {path}" in said
    assert "nobody watched for" in said
    assert f"recording on to {path}" in said
    assert f"resuming from {path.name}" in said
    assert len(seams) == 1
    assert [sample.time_s for sample in samples] == sorted(sample.time_s for sample in samples)
    assert samples[-1].time_s > seams[0].time_s > samples[0].time_s
    assert isinstance(items[-1], Conclusion)
    assert items[-1].kind == "end"
    assert main(["replay", str(path)]) == 0
    assert "conclusions: as recorded then" in capsys.readouterr().out


def test_no_resume_begins_anew(recorded: Device) -> None:
    """If the owner says so, whatever there is."""
    said = _watched(recorded, "--no-resume")
    assert "resuming" not in said
    assert len(_recordings(recorded)) == 2


def test_a_recording_of_an_hour_and_a_minute_ago_is_only_gone_on_with_when_asked(recorded: Device) -> None:
    """Not unasked; with --resume the gap is what the clocks say."""
    (old,) = _recordings(recorded)
    _age(old, AGO_S)
    assert "resuming" not in _watched(recorded)
    (new,) = set(_recordings(recorded)) - {old}
    new.unlink()

    said = _watched(recorded, "--resume")
    assert _recordings(recorded) == [old]
    assert "nobody watched for 1 h 01 min" in said


def test_a_copy_of_an_old_recording_is_told_by_its_clocks(recorded: Device) -> None:
    """A file whose own time is fresh, but not what is in it: a new recording begins, and the reason is told."""
    (old,) = _recordings(recorded)
    _age(old, AGO_S)
    os.utime(old)
    said = _watched(recorded)
    assert f"not resumed from {old.name}: its last line is 1 h 01 min old (--resume goes on with it" in said
    assert len(_recordings(recorded)) == 2


def test_another_profile_begins_anew_and_says_what_changed(recorded: Device) -> None:
    """Unasked: told, and a new recording."""
    text = recorded.profile.read_text()
    recorded.profile.write_text(text.replace("ambient_c = 25.0", "ambient_c = 21.0"))
    said = _watched(recorded)
    assert "since then ambient_c changed in the profile or its materials. A new recording begins" in said
    assert len(_recordings(recorded)) == 2


def test_another_machines_recording_is_passed_over(recorded: Device) -> None:
    """The newest recording of all is another machine's: this machine's own is gone on with."""
    (own,) = _recordings(recorded)
    other = recorded.recordings / "2030-01-01T00-00-00_another.jsonl"
    other.write_bytes(own.read_bytes().replace(b'"machine":"demo machine (invented)"', b'"machine":"another"', 1))
    before = other.read_bytes()
    assert f"resumed from {own}" in _watched(recorded)
    assert other.read_bytes() == before


@pytest.mark.parametrize("content", [b"", b'{"format":"strandwatch rec'], ids=["empty", "first line torn"])
def test_a_recording_without_a_whole_first_line_is_passed_over(content: bytes, recorded: Device) -> None:
    """A watch that died at once left it; the one before has all there is."""
    (own,) = _recordings(recorded)
    (recorded.recordings / "2030-01-01T00-00-00_demo-machine-invented.jsonl").write_bytes(content)
    assert f"resumed from {own}" in _watched(recorded)


def _second(first: "subprocess.Popen[str]", *words: str) -> "subprocess.CompletedProcess[str]":
    """The same command while the first runs; on its port it can only fail, which is after it has chosen a recording."""
    assert isinstance(first.args, list)
    return subprocess.run(  # noqa: S603 -- our own interpreter
        [*first.args, *words], capture_output=True, text=True, timeout=SAFETY_S, check=False
    )


def test_a_second_watch_of_the_same_machine_does_not_touch_the_first_ones_recording(recorded: Device) -> None:
    """While one goes on with it, another begins a new one and says why; asked to resume, it refuses."""
    (path,) = _recordings(recorded)
    with _watching(recorded.profile, "--record", str(recorded.recordings)) as first:
        _read_until(first, "link up")
        asked = _second(first, "--resume")
        unasked = _second(first)
        assert asked.returncode == 2
        assert "is being written by another watch" in asked.stderr
        assert f"not resumed from {path.name}" in unasked.stdout
        assert "being written by another watch" in unasked.stdout
        first.send_signal(signal.SIGTERM)
        first.communicate(timeout=SAFETY_S)
    assert [item.kind for item in read_recording(path).items() if isinstance(item, Conclusion)].count("resumed") == 1


def test_one_file_can_be_named(recorded: Device) -> None:
    """--resume FILE goes on with that one, wherever it is."""
    (path,) = _recordings(recorded)
    elsewhere = recorded.profile.parent / "mine.jsonl"
    path.rename(elsewhere)
    with _watching(recorded.profile, "--resume", str(elsewhere)) as process:
        assert f"recording on to {elsewhere}" in _read_until(process, "link up")


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["--resume", "--no-record"], "--no-record cannot go with it"),
        (["--resume", "a.jsonl", "--record", "b"], "leave out --record"),
        (["--resume", "--record", "b.jsonl"], "name it instead"),
        (["--resume", "--record", "nowhere"], "there is no recording of 'demo machine (invented)' in nowhere"),
        (["--resume", "no-such.jsonl"], "no-such.jsonl cannot be resumed: No such file or directory"),
    ],
)
def test_what_cannot_be_resumed_though_asked_for_is_wrong_use(
    words: list[str], why: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Status 2 and the reason: a watch that was to go on does not begin anew by mistake."""
    profile = _profile(tmp_path / "machine.toml", _serial("/dev/no-such-port"))
    assert main(["watch", "--headless", "--profile", str(profile), *words]) == 2
    assert why in capsys.readouterr().err
