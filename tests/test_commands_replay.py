"""`replay`: a recording judged anew comes to its own conclusions, and a damaged one says so."""

import asyncio
import gzip
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

import monitor
from connectors.recording import Conclusion, read_recording
from connectors.simulated_link import SimulatedLink
from connectors.simulated_scenarios import SCENARIOS
from monitor.cli import main
from monitor.config import DEMO_FILE, demo_profile
from monitor.core.alert_types import RequestKind
from monitor.core.engine import Engine
from monitor.recording.start import start_recording
from monitor.session import Session
from monitor.step import Step

PROFILE = Path(monitor.__file__).parent / DEMO_FILE


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return two recorded hours of a link that drops out, one sample every 4 s, whose owner acknowledged the alarm."""
    path = tmp_path_factory.mktemp("nights") / "night.jsonl"
    profile = demo_profile()
    session = Session(
        SimulatedLink(SCENARIOS["link-drop-outs"], period_s=4.0, duration_s=7200.0),
        Engine(profile.parameters),
        name="simulated machine",
    )
    start_recording(session, profile, path)

    def see(step: Step) -> None:
        for transition in step.transitions:
            if transition.event == "raised":
                session.ask(RequestKind.ACKNOWLEDGE, transition.alert.id)

    session.observe(see)
    asyncio.run(session.run())
    return path


def test_a_recording_replays_to_the_same_conclusions(recording: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Acknowledgements are replayed too: they are input like any other."""
    recorded = [
        item for item in read_recording(recording).items() if isinstance(item, Conclusion) and item.kind == "alert"
    ]
    assert main(["replay", str(recording)]) == 0
    told = capsys.readouterr().out
    assert f"conclusions: as recorded then (changes of alerts: {len(recorded)})" in told
    assert "acknowledged by owner: link" in told
    assert len(recorded) >= 3
    assert told.startswith("recording of demo machine (invented) (simulated machine), begun 20")


def test_json_of_a_replay_has_the_recorded_alerts(recording: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Line by line what the recording holds, with the comparison beside it."""
    recorded = [
        {"kind": item.kind, "time_s": item.time_s, **item.data}
        for item in read_recording(recording).items()
        if isinstance(item, Conclusion) and item.kind == "alert"
    ]
    assert main(["replay", str(recording), "--json"]) == 0
    printed = capsys.readouterr()
    alerts = [line for line in map(json.loads, printed.out.splitlines()) if line["kind"] == "alert"]
    assert alerts == recorded
    assert "conclusions: as recorded then" in printed.err


def test_json_is_utf8_whatever_the_locale(recording: Path) -> None:
    """RFC 8259, section 8.1: JSON between systems is UTF-8; a locale of plain ASCII must not garble it."""
    done = subprocess.run(  # noqa: S603 -- our own interpreter
        [sys.executable, "-m", "monitor", "replay", "--json", str(recording)],
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        capture_output=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0
    first = json.loads(done.stdout.decode("utf-8").splitlines()[0])
    assert "Link dropping out; invented build 'harbour lantern'" in first["link_reason"]


def test_another_profile_comes_to_other_conclusions(
    recording: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With the idle backstop at half an hour instead of eight the same night is judged otherwise, and that is told."""
    other = tmp_path / "other.toml"
    text = PROFILE.read_text(encoding="utf-8")
    assert "idle_backstop_h = 8.0" in text
    other.write_text(text.replace("idle_backstop_h = 8.0", "idle_backstop_h = 0.5"), encoding="utf-8")
    assert main(["replay", str(recording), "--profile", str(other)]) == 0
    told = capsys.readouterr().out
    assert "conclusions DIFFER from those recorded then" in told
    assert re.search(r"now: 00:\d\d:\d\d CAUTION raised standing", told)


def test_an_alarm_in_the_recording_has_its_own_status_if_asked(recording: Path) -> None:
    """A replay can serve as a check in a script."""
    assert main(["replay", str(recording), "--fail-on-alarm"]) == 1


def test_a_torn_last_line_is_noted_and_harmless(
    recording: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A watch that was cut off while it wrote is judged up to there, without a difference."""
    content = recording.read_bytes()
    torn = tmp_path / "torn.jsonl"
    torn.write_bytes(content[:-400])
    assert main(["replay", str(torn)]) == 0
    told = capsys.readouterr().out
    assert "the recording's last line is incomplete" in told
    assert re.search(r"conclusions: as recorded then \(changes of alerts: [1-9]", told)


def test_a_compressed_recording_that_breaks_off_is_told_after_all_before_it(
    recording: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Status 2, what is wrong and where, and the summary of what could be read."""
    packed = gzip.compress(recording.read_bytes())
    broken = tmp_path / "night.jsonl.gz"
    broken.write_bytes(packed[: len(packed) // 2])
    assert main(["replay", str(broken)]) == 2
    printed = capsys.readouterr()
    assert "end: the recording ended" in printed.out
    assert str(broken) in printed.err
    assert "breaks off or is corrupt" in printed.err


def test_a_line_that_cannot_be_read_is_told(
    recording: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is left out, never guessed at."""
    lines = recording.read_bytes().splitlines(keepends=True)
    damaged = tmp_path / "damaged.jsonl"
    damaged.write_bytes(b"".join([*lines[:200], b"[12,\n", *lines[200:]]))
    assert main(["replay", str(damaged)]) == 0
    assert "note: lines of the recording that could not be read: 1" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (None, "cannot be opened"),
        (b"", "is empty"),
        (b"T:210 /210\n", "is not a recording of strandwatch"),
        (b'{"format":"strandwatch recording","version":999}\n', "Install a newer strandwatch"),
    ],
)
def test_what_is_no_recording_is_refused(
    content: bytes | None, told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Status 2 and one message that names the file; no traceback."""
    path = tmp_path / "other.jsonl"
    if content is not None:
        path.write_bytes(content)
    assert main(["replay", str(path)]) == 2
    printed = capsys.readouterr()
    assert told in printed.err
    assert str(path) in printed.err
    assert "Traceback" not in printed.err
    assert printed.out == ""


def test_a_recording_with_a_profile_that_cannot_be_used_is_refused(
    recording: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """All faults are told at once, with the recording's name."""
    head, _, rest = recording.read_bytes().partition(b"\n")
    header = json.loads(head)
    header["profile"]["zones"][0]["length_mm"] = -1.0
    header["profile"]["strands"][0]["material"] = "unknown-stuff"
    path = tmp_path / "changed.jsonl"
    path.write_bytes(json.dumps(header).encode() + b"\n" + rest)
    assert main(["replay", str(path)]) == 2
    told = capsys.readouterr().err
    assert "2 faults" in told
    assert "unknown-stuff" in told


def test_own_materials_go_with_a_profile_only(recording: Path, tmp_path: Path) -> None:
    """A recording brings its materials along; quietly ignoring the option would mislead."""
    assert main(["replay", str(recording), "--materials", str(tmp_path / "mine.toml")]) == 2
