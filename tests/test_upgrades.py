"""Files of earlier versions stay readable, and newer ones are refused by their version, with what to do.

`data/version-1/` holds a file of each kind as version 1 has it. They are frozen: whoever changes a format adds a folder
for the new version and leaves these as they are (`replays/README.md`, "Versions").
"""

import json
import shutil
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import jsonschema
import pytest

from connectors.errors import RecordingError
from connectors.recording import Conclusion, read_recording
from connectors.telemetry import LinkChange, Malformed, Sample, Tick
from monitor.archive.judged import judge_file
from monitor.archive.outcomes import Outcome, read_mark, write_mark
from monitor.bench_seat.log import read as read_log
from monitor.config import ProfileError, load_profile, profile_from_tables
from monitor.exit_codes import WrongUseError
from monitor.importing.import_map import load_map
from monitor.materials.errors import MaterialsError
from monitor.materials.files import read_tables
from monitor.materials.known import package_materials
from monitor.materials.own import NotWrittenError, write_values
from monitor.notify.file import NotifyFileError, read_plan
from monitor.text_file import VERSION, VERSION_KEY
from tests.recording_examples import SCHEMA

FROZEN: Final = Path(__file__).parent / "data" / "version-1"
NIGHT: Final = FROZEN / "night.jsonl"


def _header() -> dict[str, object]:
    with NIGHT.open(encoding="utf-8") as file:
        return dict(json.loads(file.readline()))


def _night(tmp_path: Path, **changes: object) -> Path:
    """The frozen night with its header changed; None leaves a key out."""
    header = {key: value for key, value in {**_header(), **changes}.items() if value is not None}
    _, _, lines = NIGHT.read_bytes().partition(b"\n")
    path = tmp_path / "night.jsonl"
    path.write_bytes(json.dumps(header).encode() + b"\n" + lines)
    return path


def test_a_recording_of_version_1_is_read_whole() -> None:
    """Every line of it, of all kinds; none is passed over."""
    recording = read_recording(NIGHT)
    items = list(recording.items())
    events = Counter(type(item).__name__ for item in items if not isinstance(item, Conclusion))
    conclusions = Counter(item.kind for item in items if isinstance(item, Conclusion))
    assert (recording.skipped, recording.torn, recording.damage) == (0, False, None)
    assert events == {"Sample": 40, "Tick": 15, "LinkChange": 4, "Malformed": 1}
    assert conclusions.keys() == {
        *("clock", "alert", "assessment", "flow_slip", "acknowledge", "request", "notification", "next_uses"),
        *("bench_attempt", "fault", "gap", "end", "resumed", "a_kind_of_later"),
    }
    assert recording.header.machine == "invented bench of version 1"
    assert recording.header.stand_ins == (
        {"input": 2, "material": "PETG", "stand_in": "PLA", "values": {"wet_factor": 2.0}},
    )


def test_a_recording_of_version_1_says_what_it_said() -> None:
    """Some of its lines, to the last digit: a later reader must not find another meaning in them."""
    items = list(read_recording(NIGHT).items())
    samples = [item for item in items if isinstance(item, Sample)]
    assert samples[0].values["fed_mm:1"] == 4.0
    assert samples[0].values["progress"] == 0.002
    assert samples[0].execution == "ACTIVE"
    assert samples[19].values == {"temp_c:manifold": 195.1, "temp_c:chamber": 41.5}
    assert (samples[20].values, samples[20].execution) == ({}, "FEED_HOLD")
    assert next(item for item in items if isinstance(item, Tick)) == Tick(127.0)
    assert [item.excerpt for item in items if isinstance(item, Malformed)] == ["T:19␛[2J"]
    links = [item for item in items if isinstance(item, LinkChange)]
    assert [(link.available, link.feed_unknown) for link in links] == [
        *((True, False), (False, False), (True, True), (False, True))
    ]


def test_a_recording_of_version_1_can_be_judged() -> None:
    """Its profile and materials make an engine, and its events run through it to the end."""
    found = judge_file(NIGHT)
    assert found.fault == ""
    assert found.is_ended
    assert [strand.material for strand in found.strands] == ["own-blend", "PETG"]
    assert found.duration_s == 304.0


def test_a_recording_of_version_1_keeps_to_the_schema() -> None:
    """What is frozen is what the published schema describes."""
    validator = jsonschema.Draft202012Validator(SCHEMA)
    for line in NIGHT.read_text(encoding="utf-8").splitlines():
        if '"a_kind_of_later"' not in line and '"chamber"' not in line:
            validator.validate(json.loads(line))


@pytest.mark.parametrize("version", [2, 7, 10**40])
def test_a_newer_recording_is_refused_by_its_version(tmp_path: Path, version: int) -> None:
    """Whatever else has changed in it; the message says which version it is, which is read here, and what to do."""
    path = _night(tmp_path, version=version, start=None, profile=None, columns={"in": "another form"})
    with pytest.raises(RecordingError) as refused:
        read_recording(path)
    assert f"version {version} of the recording format" in str(refused.value)
    assert "up to version 1. Install a newer strandwatch" in str(refused.value)
    assert "version" in judge_file(path).fault


@pytest.mark.parametrize("version", [None, 0, -1, "1", "", 1.5, True, [], {}])
def test_a_recording_whose_version_is_none_is_refused(tmp_path: Path, version: object) -> None:
    """A version left out, or that is no whole number from 1 on, is no recording of ours; nothing of it is guessed."""
    with pytest.raises(RecordingError, match="is not a recording of strandwatch"):
        read_recording(_night(tmp_path, version=version))


def test_a_header_cut_anywhere_is_refused(tmp_path: Path) -> None:
    """Within the version as well: half a number is not taken for a whole one."""
    header = NIGHT.read_bytes().partition(b"\n")[0].replace(b'"version":1,', b'"version":12345,')
    path = tmp_path / "night.jsonl"
    for kept in [*range(1, 60), len(header) // 2, len(header) - 1]:
        path.write_bytes(header[:kept])
        with pytest.raises(RecordingError, match=r"first line is incomplete|empty"):
            read_recording(path)


def test_a_later_header_of_version_1_may_hold_more(tmp_path: Path) -> None:
    """Keys that were added within the version are passed over, in the header and in lines."""
    path = _night(tmp_path, mood="fine", extra={"deep": [1, 2]})
    path.write_bytes(path.read_bytes().replace(b'"kind":"link",', b'"kind":"link","speed":250000,'))
    recording = read_recording(path)
    assert recording.header == read_recording(NIGHT).header
    assert list(recording.items()) == list(read_recording(NIGHT).items())
    assert recording.skipped == 0


def test_a_later_profile_in_a_header_is_refused_by_its_key(tmp_path: Path) -> None:
    """What a profile says changes conclusions, so nothing unknown in it is passed over; the lines can still be read."""
    profile = {**_header()["profile"], "colour_of_the_room": "blue"}  # type: ignore[dict-item]  # it is a table
    recording = read_recording(_night(tmp_path, profile=profile))
    with pytest.raises(ProfileError, match="colour_of_the_room"):
        profile_from_tables(recording.header.profile, recording.header.materials, "night.jsonl")
    assert len(list(recording.items())) == len(list(read_recording(NIGHT).items()))


def test_the_owners_files_of_version_1_are_read() -> None:
    """Profile, materials, channels, a mark, a map and the log of the bench say what they said."""
    profile = load_profile(FROZEN / "profile.toml")
    assert [strand.material.name for strand in profile.parameters.strands] == ["own-blend", "PETG"]
    assert profile.parameters.strands[0].material.limit_min == 300.0
    own = package_materials().with_overrides(read_tables(FROZEN / "materials.toml"))
    assert own.material("PETG").warn_min == 200.0
    assert own.liner("own-liner").alarm_c == 245.0
    assert read_mark(FROZEN / "night.outcome.toml") == Outcome("jam", "jam on input 2 at 00:04", 2, 240.0)
    mapping = load_map(FROZEN / "import-map.toml")
    assert mapping.columns["e1"].counts == "since the row before"
    log = read_log(FROZEN / "bench.jsonl")
    assert [(row.material, row.min_feed_c, row.slip) for row in log.rows] == [("own-blend", 188.0, 0.012)]
    assert log.note == ""


def test_the_file_of_channels_of_version_1_is_read(tmp_path: Path) -> None:
    """A copy, because a work tree does not keep that only the owner may read it."""
    path = tmp_path / "notify.toml"
    shutil.copyfile(FROZEN / "notify.toml", path)
    path.chmod(0o600)
    plan = read_plan(path)
    assert [(channel.name, channel.after_s) for channel in plan.channels] == [("telephone", 0.0), ("sister", 300.0)]
    assert (plan.repeat_s, plan.check_in is not None) == (1200.0, True)


def _read_mark(path: Path) -> None:
    raise WrongUseError(read_mark(path).words)  # a mark that cannot be read is told in its words


READ: Final[dict[str, tuple[Callable[[Path], object], type[Exception]]]] = {
    "profile.toml": (load_profile, ProfileError),
    "materials.toml": (read_tables, MaterialsError),
    "notify.toml": (read_plan, NotifyFileError),
    "import-map.toml": (load_map, WrongUseError),
    "night.outcome.toml": (_read_mark, WrongUseError),
}


def _with_version(tmp_path: Path, name: str, version: str) -> Path:
    path = tmp_path / name
    text = (FROZEN / name).read_text(encoding="utf-8")
    path.write_text(f"{VERSION_KEY} = {version}\nfrom_later = true\n{text}", encoding="utf-8")
    path.chmod(0o600)
    return path


@pytest.mark.parametrize("name", READ)
def test_a_newer_file_of_the_owners_is_refused_by_its_version(tmp_path: Path, name: str) -> None:
    """Before anything else in it is judged: no list of keys that this program does not know."""
    read, refusal = READ[name]
    with pytest.raises(refusal, match=r"written in version 2 of its format.*up to version 1\. Install") as refused:
        read(_with_version(tmp_path, name, "2"))
    assert "from_later" not in str(refused.value)


@pytest.mark.parametrize("version", ["0", "-3", "true", '"2"', "1.0", "[1]"])
@pytest.mark.parametrize("name", READ)
def test_a_version_that_is_none_is_told(tmp_path: Path, name: str, version: str) -> None:
    """Only whole numbers from 1 on are versions."""
    read, refusal = READ[name]
    with pytest.raises(refusal, match=rf"{VERSION_KEY} is .*; allowed: {VERSION}, or leave it out"):
        read(_with_version(tmp_path, name, version))


@pytest.mark.parametrize("name", READ)
def test_the_present_version_may_be_said(tmp_path: Path, name: str) -> None:
    """A file that names version 1 is the same as one that names none."""
    path = tmp_path / name
    path.write_text(f"{VERSION_KEY} = 1\n" + (FROZEN / name).read_text(encoding="utf-8"), encoding="utf-8")
    path.chmod(0o600)
    if name == "night.outcome.toml":
        assert read_mark(path) == read_mark(FROZEN / name)
    else:
        READ[name][0](path)


def test_a_newer_file_of_materials_is_not_written_to(tmp_path: Path) -> None:
    """What this program does not understand it does not change."""
    path = _with_version(tmp_path, "materials.toml", "2")
    before = path.read_bytes()
    with pytest.raises(NotWrittenError, match="version 2"):
        write_values(path, "PETG", {"warn_min": {"value": 100.0, "status": "J", "source": "x"}})
    assert path.read_bytes() == before


def test_a_mark_of_a_newer_version_is_not_replaced(tmp_path: Path) -> None:
    """Marking anew needs a program that understands what stands there."""
    path = _with_version(tmp_path, "night.outcome.toml", "2")
    before = path.read_bytes()
    with pytest.raises(WrongUseError, match="version 2"):
        write_mark(tmp_path / "night.jsonl", Outcome("fine", "fine"), datetime.now(UTC))
    assert path.read_bytes() == before


def test_values_are_written_into_a_file_that_names_its_version(tmp_path: Path) -> None:
    """The key is no material, and stays where it is."""
    path = tmp_path / "materials.toml"
    path.write_text(f"{VERSION_KEY} = 1\n[PETG]\n", encoding="utf-8")
    write_values(path, "PETG", {"warn_min": {"value": 100.0, "status": "J", "source": "x"}})
    assert path.read_text(encoding="utf-8").startswith(f"{VERSION_KEY} = 1\n[PETG]\nwarn_min")


def test_newer_lines_of_the_benchs_log_are_passed_over_and_told(tmp_path: Path) -> None:
    """The older ones are listed; the note names the newer version and what to do."""
    path = tmp_path / "bench.jsonl"
    old = (FROZEN / "bench.jsonl").read_text(encoding="utf-8")
    path.write_text(old + '{"kind":"bench","version":3,"when":1}\n' + old.replace('"at"', '"version":1,"at"'))
    log = read_log(path)
    assert len(log.rows) == 2
    assert log.note.startswith("lines that could not be read and are passed over: 1; some are of version 3")
    assert "install a newer strandwatch" in log.note
