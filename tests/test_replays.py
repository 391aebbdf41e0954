"""Every recording in `replays/` comes to the conclusions it was recorded with."""

import json
import signal
import subprocess
import sys
import time
from pathlib import Path

import jsonschema
import pytest

from connectors.recording import Conclusion, read_recording
from connectors.recording_encoder import Encoder
from monitor.cli import main
from tests.make_replays import FOLDER, TAKES

RECORDINGS = sorted(FOLDER.glob("*.jsonl.zst"))
LONGEST_S = 60.0
ENOUGH_BYTES = 2_000_000


def test_all_nights_are_there() -> None:
    """The folder holds the nights that its maker writes."""
    assert [path.name.removesuffix(".jsonl.zst") for path in RECORDINGS] == sorted(TAKES)


@pytest.mark.parametrize("path", RECORDINGS, ids=lambda path: path.name)
def test_same_conclusions(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Inputs judged anew give the recorded alerts: same changes, same times."""
    assert main(["replay", str(path)]) == 0
    assert "conclusions: as recorded then" in capsys.readouterr().out


@pytest.mark.parametrize("path", RECORDINGS, ids=lambda path: path.name)
def test_same_doses(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The doses of the last recorded assessment come out again, to rounding."""
    recorded = [item for item in read_recording(path).items() if isinstance(item, Conclusion)]
    last = [item for item in recorded if item.kind == "assessment"][-1]
    main(["replay", str(path), "--json", "--every", "60"])
    replayed = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    same_time = [line for line in replayed if line["kind"] == "assessment" and line["time_s"] == last.time_s]

    assert len(same_time) == 1
    doses = [strand["dose_now_min"] for strand in same_time[0]["strands"]]
    assert doses == pytest.approx([strand["dose_now_min"] for strand in last.data["strands"]], rel=1e-6, abs=1e-6)


@pytest.mark.parametrize("path", RECORDINGS, ids=lambda path: path.name)
def test_format(path: Path) -> None:
    """Header and every conclusion keep to the published schema."""
    schema = json.loads((FOLDER / "recording.schema.json").read_text(encoding="utf-8"))
    validator = jsonschema.Draft202012Validator(schema)
    recording = read_recording(path)
    encoder = Encoder(recording.header)
    lines = [json.loads(encoder.header_line())]
    conclusions = [item for item in recording.items() if isinstance(item, Conclusion)]
    lines += [json.loads(encoder.encode_conclusion(item.kind, item.time_s, item.data)) for item in conclusions]

    assert len(lines) > 100
    for line in lines:
        validator.validate(line)


def test_a_killed_watch_replays_to_its_conclusions(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """SIGKILL in the middle of a recording: what was written stands, and replays to the conclusions written with it."""
    path = tmp_path / "killed.jsonl"
    command = [sys.executable, "-m", "monitor", "demo", "left-idle", "--headless", "--record", str(path)]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL) as child:  # noqa: S603 -- ourselves
        began_s = time.monotonic()
        while not (path.exists() and path.stat().st_size > ENOUGH_BYTES):
            assert child.poll() is None, "the night was over before it could be killed"
            assert time.monotonic() - began_s < LONGEST_S
        child.send_signal(signal.SIGKILL)
    samples = path.read_bytes().count(b"\n[")

    assert main(["replay", str(path)]) == 0
    told = capsys.readouterr().out
    assert "conclusions: as recorded then" in told
    assert f"samples {samples}," in told or f"samples {samples - 1}," in told  # the last may be torn
