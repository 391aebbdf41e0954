"""`archive`: many recordings listed, searched, marked, and learned from, whatever is among them."""

import gzip
import json
import math
import os
import shutil
import sqlite3
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from connectors.telemetry import Sample, Tick
from monitor.archive import batch
from monitor.archive import directory as directory_module
from monitor.archive.course import Courses
from monitor.archive.index import Index, Search, Stamp, index_place
from monitor.archive.index_tables import SCHEMA_VERSION
from monitor.archive.judged import judge_file
from monitor.archive.outcomes import mark_path, outcome_in, read_mark
from monitor.commands import archive_run
from monitor.config import demo_profile
from monitor.core.engine import run
from monitor.exit_codes import DONE, WrongUseError
from tests.archive_examples import archived, header, many, night, write

REPLAYS = Path(__file__).parent.parent / "replays"


@pytest.fixture(autouse=True)
def own_places(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep index and materials of the tests away from the owner's."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Four small nights, one of them too hot, a file that is no recording and one that is damaged."""
    place = tmp_path / "recordings"
    place.mkdir()
    profile = demo_profile()
    write(place / "hot.jsonl", header(profile, "shed", -9), night(3, manifold_c=240.0))
    write(place / "hotter.jsonl", header(profile, "shed", -8), night(3, manifold_c=262.0))
    write(place / "old.jsonl", header(profile, "garage six"), night(3))
    (place / "packed.jsonl.gz").write_bytes(
        gzip.compress(write(tmp_path / "x", header(profile, "attic", 9), night(3)).read_bytes())
    )
    (place / "notes.txt").write_text("no recording")
    (place / "broken.jsonl").write_text("{}\n")
    return place


def _listed(capsys: pytest.CaptureFixture[str], *words: object) -> dict[str, dict[str, object]]:
    assert archived([*words, "--json"]) == DONE
    return {row["name"]: row for row in map(json.loads, filter(None, capsys.readouterr().out.splitlines()))}


def test_a_list_tells_what_each_recording_holds(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Date, machine, duration, worst strand, alerts and outcome stand in a line; what is unreadable says why."""
    shutil.copy(REPLAYS / "jam-after-idle.jsonl.zst", folder)
    rows = _listed(capsys, folder)
    names = {"hot.jsonl", "hotter.jsonl", "old.jsonl", "packed.jsonl.gz", "broken.jsonl"}
    assert set(rows) == {"jam-after-idle.jsonl.zst", *names}
    jam, old = rows["jam-after-idle.jsonl.zst"], rows["old.jsonl"]
    assert jam["machine"] == "demo machine (invented)"
    assert jam["duration_s"] == pytest.approx(2.2 * 3600.0, abs=10.0)
    assert jam["alarms"] or jam["warnings"]
    assert (old["start_text"], old["machine"], old["is_ended"]) == ("2026-11-25 22:00", "garage six", True)
    assert (rows["hot.jsonl"]["alarms"], old["alarms"]) == (1, 0)
    assert "is not a recording" in str(rows["broken.jsonl"]["fault"])
    assert archived([folder]) == DONE
    shown = capsys.readouterr().out
    assert "6 recordings" in shown
    assert "unreadable" in shown
    monkeypatch.setattr(archive_run, "_is_wide", lambda: False)
    assert archived([folder]) == DONE
    narrow = capsys.readouterr().out.splitlines()
    assert max(map(len, narrow)) <= 80
    assert any("old.jsonl: not marked (garage six)" in line for line in narrow)


def test_what_the_index_says_is_what_judging_says(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The list of the index agrees with a straight judgement of each file, the first time and from the cache."""
    for _ in range(2):
        for name, row in _listed(capsys, folder).items():
            judged = judge_file(folder / name)
            worst = judged.worst
            assert row["worst_share"] == (None if worst is None else pytest.approx(worst.share))
            assert row["duration_s"] == judged.duration_s


@pytest.mark.parametrize(
    ("words", "names"),
    [
        (["--machine", "ATTIC"], {"packed.jsonl.gz"}),
        (["--since", "2026-11-28"], {"packed.jsonl.gz"}),
        (["--material", "demo-chalk", "--machine", "garage"], {"old.jsonl"}),
        (["--alert", "ceiling"], {"hot.jsonl", "hotter.jsonl"}),
        (["--outcome", "jam"], {"old.jsonl"}),
        (["--outcome", "not marked", "--machine", "attic"], {"packed.jsonl.gz"}),
        (["--machine", "'; DROP TABLE recordings; --"], set()),
        (["--machine", "%"], set()),
    ],
)
def test_searches(folder: Path, capsys: pytest.CaptureFixture[str], words: list[str], names: set[str]) -> None:
    """Each filter finds what it says, and text of a query is never taken for one."""
    assert archived(["mark", folder / "old.jsonl", "jam on input 4 at 00:02"]) == DONE
    capsys.readouterr()
    assert set(_listed(capsys, folder, *words)) == names
    assert len(_listed(capsys, folder)) == 5


def test_a_mark_stands_beside_the_recording(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The recording's bytes stay; the mark is a file of its own, holds when the recording is packed, and shows."""
    path = folder / "old.jsonl"
    before = path.read_bytes()
    archived(["mark", path, "jam on input 4 at 00:02"])
    assert path.read_bytes() == before
    table = tomllib.loads((folder / "old.outcome.toml").read_text(encoding="utf-8"))
    assert (table["outcome"], table["input"], table["at_s"]) == ("jam", 4, 120.0)
    packed = folder / "old.jsonl.gz"
    packed.write_bytes(gzip.compress(before))
    path.unlink()
    capsys.readouterr()
    assert _listed(capsys, folder)["old.jsonl.gz"]["outcome"] == "jam on input 4 at 00:02"
    archived(["mark", packed, "fine"])
    assert read_mark(mark_path(packed)) == outcome_in("fine")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("jam on input 9 at 00:01", "no strand on input 9"),
        ("jam on input 4 at 02:10", "lasts 00:0"),
        ("jam somewhere", "is not understood"),
        ("jam on input 4 at 00:75", "no such input or time"),
        ("", "say what became of it"),
    ],
)
def test_marks_that_cannot_be_right_are_refused(folder: Path, words: str, message: str) -> None:
    """A mark of a strand or time that the recording does not have is not kept."""
    with pytest.raises(WrongUseError, match=message):
        archived(["mark", folder / "old.jsonl", words])
    assert not (folder / "old.outcome.toml").exists()


def test_only_what_changed_is_judged_again(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A second list judges nothing; a changed, a new and a vanished file are noticed."""
    judged: list[str] = []
    true_judging = batch.judge_all

    def counting(paths: list[Path], workers: int | None = None) -> object:
        judged.extend(path.name for path in paths)
        return true_judging(paths, workers)

    monkeypatch.setattr(directory_module, "judge_all", counting)
    archived([folder])
    assert len(judged) == 5
    judged.clear()
    archived([folder])
    assert judged == []
    os.utime(folder / "old.jsonl", ns=(1, 1))
    (folder / "broken.jsonl").unlink()
    write(folder / "new.jsonl", header(demo_profile(), "attic"), night(3))
    archived([folder])
    assert judged == ["new.jsonl", "old.jsonl"]


@pytest.mark.parametrize("damage", ["garbage", "another form", "another program", "truncated"])
def test_an_index_in_doubt_is_made_anew(folder: Path, damage: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A damaged index, or one of another form or program, costs time and nothing else."""
    before = _listed(capsys, folder)
    place = index_place(folder)
    if damage == "garbage":
        place.write_bytes(b"\x00garbage" * 999)
    elif damage == "truncated":
        place.write_bytes(place.read_bytes()[: place.stat().st_size // 2])
    else:
        with sqlite3.connect(place) as base:
            other = f"PRAGMA user_version = {SCHEMA_VERSION + 1}"
            base.execute(other if damage == "another form" else "UPDATE about SET program = 'older'")
        base.close()
    assert _listed(capsys, folder) == before


def test_an_index_that_cannot_be_kept_is_told(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without a place for the index the list is the same, and it says what that costs."""
    (folder / "a-file").write_text("")
    monkeypatch.setenv("XDG_CACHE_HOME", str(folder / "a-file"))
    assert archived([folder]) == DONE
    shown = capsys.readouterr()
    assert "5 recordings" in shown.out
    assert "cannot be kept" in shown.err


def test_hostile_recordings_are_contained(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Markup and escapes in names are shown harmless; a leap of time, huge numbers and a deep profile are told."""
    profile, place = demo_profile(), tmp_path / "recordings"
    place.mkdir()
    head = header(profile, "<script>x\x1b]0;y\x07")
    write(place / "<b>\x1b[2J.jsonl", replace(head, machine="<script>\x1b[31m"), night(2))
    leap = [*night(2), Tick(1e300), Sample(1e300, {"temp_c:manifold": 1.0})]
    write(place / "leap.jsonl", header(profile, "leap"), leap)
    huge = [*night(2), Sample(200.0, {"temp_c:manifold": 1e300, "fed_mm:1": -1e308})]
    write(place / "huge.jsonl", header(profile, "huge"), huge)
    deep = json.loads((place / "huge.jsonl").read_text(encoding="utf-8").splitlines()[0])
    deep["profile"] = "@"
    nested = json.dumps(deep).replace('"@"', '{"a":' * 5000 + "1" + "}" * 5000)
    (place / "deep.jsonl").write_text(nested + "\n")
    (place / "night.outcome.toml").write_bytes(b"\x1b\xff")
    (place / "huge.outcome.toml").write_text('outcome = "jam"\nwords = "\\u001b[2Jjam"\n')
    assert archived([place]) == DONE
    shown = capsys.readouterr()
    assert "\x1b" not in shown.out + shown.err
    rows = _listed(capsys, place)
    assert "jumps by more than a year" in str(rows["leap.jsonl"]["fault"])
    assert rows["leap.jsonl"]["duration_s"] == pytest.approx(116.0)
    assert rows["deep.jsonl"]["fault"]
    assert rows["huge.jsonl"]["machine"] == "huge"


def test_what_is_no_number_is_contained(folder: Path) -> None:
    """A result that no index can hold costs its own recording alone."""
    judged = judge_file(folder / "old.jsonl")
    strands = tuple(replace(strand, highest_dose_min=math.nan) for strand in judged.strands)
    with Index(None, "test") as index:
        index.put(replace(judged, strands=strands), Stamp(1, 1))
        index.put(replace(judged, name="sound.jsonl"), Stamp(1, 1))
        faults = {row.name: row.fault for row in index.find(Search())}
    assert "no numbers" in faults["old.jsonl"]
    assert faults["sound.jsonl"] == ""


def test_many_are_judged_on_all_cores_as_on_one(tmp_path: Path) -> None:
    """Processes of their own come to the same results as this one."""
    many(tmp_path, 9)
    paths = sorted(tmp_path.glob("*.jsonl"))
    alone = {path.name: judge_file(path) for path in paths}
    together = list(batch.judge_all(paths, workers=2))
    assert len(together) == len(paths)
    for judged in together:
        before = alone[judged.name]
        assert (judged.duration_s, judged.alerts, judged.machine) == (before.duration_s, before.alerts, before.machine)
        for one, two in zip(judged.strands, before.strands, strict=True):
            assert (one.highest_dose_min, one.course.tolist()) == (two.highest_dose_min, two.course.tolist())


def test_a_course_follows_the_engine() -> None:
    """Each minute of a course has the dose that the engine told at that minute."""
    courses, told = Courses(), list[float]()
    for step in run(night(10), demo_profile().parameters):
        if courses.is_due(step.event.time_s):
            courses.take(step.assessment)
            told.append(next(strand.dose_now_min for strand in step.assessment.strands if strand.input == 4))
    assert len(told) == 10
    assert courses.of(4)[:, 1].tolist() == pytest.approx(told, rel=1e-6)


def test_learning_proposes_and_only_the_owner_accepts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """From marked nights: the evidence at its doses, a proposal, nothing changed; accepted, the watch uses it."""
    profile, place = demo_profile(), tmp_path / "recordings"
    place.mkdir()
    config = tmp_path / "config" / "strandwatch" / "materials.toml"
    for number, minutes in enumerate((16, 18, 20, 22)):
        events = night(minutes)
        path = write(place / f"n{number}.jsonl", header(profile, "attic", number), events)
        at = f" at 00:{minutes - 1:02d}" if number != 3 else ""
        archived(["mark", path, "fine" if number < 2 else f"jam on input 4{at}"])
    capsys.readouterr()
    assert archived(["learn", place]) == DONE
    shown = capsys.readouterr().out
    assert "demo-chalk: 4 strands in marked recordings, 2 jammed" in shown
    assert "proposed: limit" in shown
    assert "nothing was changed" in shown
    assert not config.exists()

    config.parent.mkdir(parents=True)
    config.write_text('# mine\n["demo-chalk"] # kept\nwarn_min = 80\nglass_c = 61\n', encoding="utf-8")
    assert archived(["learn", place, "--accept", "demo-chalk"]) == DONE
    written = config.read_text(encoding="utf-8")
    table = tomllib.loads(written)["demo-chalk"]
    assert written.startswith('# mine\n["demo-chalk"] # kept\n')
    assert table["glass_c"] == 61
    assert table["limit_min"]["value"] < 285.0
    assert table["limit_min"]["low"] < table["limit_min"]["value"] < table["limit_min"]["high"]
    capsys.readouterr()
    archived(["learn", place])  # what was learned is not believed twice: the prior is still the table's
    again = next(line for line in capsys.readouterr().out.splitlines() if "proposed" in line)
    assert f"limit {table['limit_min']['value']:g} min" in again


def test_doses_by_another_law_are_not_mixed_in(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A recording whose doses were reckoned by other energies than the owner's table has now is named and left out."""
    profile, place = demo_profile(), tmp_path / "recordings"
    place.mkdir()
    archived(["mark", write(place / "n.jsonl", header(profile, "attic"), night(4)), "fine"])
    mine = tmp_path / "mine.toml"
    mine.write_text('["demo-chalk"]\nreference_c = 205\n', encoding="utf-8")
    capsys.readouterr()
    archived(["learn", place, "--materials", mine])
    shown = capsys.readouterr().out
    assert "left out: n.jsonl, input 4: its doses were reckoned by other material data" in shown


@pytest.mark.parametrize(
    "words",
    [["mark"], ["mark", "x.jsonl"], ["a", "b"], ["nowhere"], ["mark", "notes.txt", "fine"], [".", "--since", "x"]],
)
def test_wrong_use_is_told(words: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Words that make no sense are wrong use."""
    monkeypatch.chdir(tmp_path)
    with pytest.raises(WrongUseError):
        archived(words)
