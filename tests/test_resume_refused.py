"""Recordings that a watch must not go on with: said why, left as they are, and not locked."""

import asyncio
import fcntl
import gzip
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from monitor.config import Profile, demo_profile, profile_from_tables
from monitor.resume.catching_up import CannotResumeError, take_up
from tests.resume_examples import record_night, resumed_session, taken_up

GAP_S = 40.0


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Return two minutes of a night."""
    path = tmp_path_factory.mktemp("recorded") / "night.jsonl"
    record_night(path, 120.0)
    return path.read_bytes()


@pytest.fixture
def night(recorded: bytes, tmp_path: Path) -> Path:
    """Return a file of it, to be damaged."""
    path = tmp_path / "night.jsonl"
    path.write_bytes(recorded)
    return path


def test_a_recording_that_is_being_written_is_refused(night: Path) -> None:
    """Another process holds its lock: the message says so, and the file stays as it was."""
    before = night.read_bytes()
    hold = "import fcntl, sys; f = open(sys.argv[1]); fcntl.flock(f, fcntl.LOCK_EX); print(); sys.stdin.read()"
    with subprocess.Popen(  # noqa: S603 -- our own interpreter
        [sys.executable, "-c", hold, str(night)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as other:
        assert other.stdout is not None
        other.stdout.readline()
        with pytest.raises(CannotResumeError, match=r"being written by another watch.*end the other one first"):
            take_up(night, demo_profile())
        other.communicate()
    assert night.read_bytes() == before
    take_up(night, demo_profile()).close()


def test_a_watch_holds_the_lock_until_it_ends(night: Path) -> None:
    """New or resumed, a recording that is written cannot be taken up; once it is closed, it can."""
    session = resumed_session(taken_up(night, GAP_S), [])
    with pytest.raises(CannotResumeError, match="another watch"):
        take_up(night, demo_profile())
    asyncio.run(session.run())
    take_up(night, demo_profile()).close()


def _changed(**keys: object) -> Profile:
    profile = demo_profile()
    return profile_from_tables({**profile.table, **keys}, profile.material_tables, "test")


def _other_material() -> Profile:
    strands = [dict(row) for row in demo_profile().table["strands"]]
    strands[3]["material"] = "demo-moss"
    return _changed(strands=strands)


@pytest.mark.parametrize(
    ("profile", "why"),
    [
        (lambda: _changed(ambient_c=19.0), "since then ambient_c changed"),
        (_other_material, r"since then strands\[4\]\.material"),
        (lambda: _changed(name="another one"), "of another machine, 'demo machine .*', and the profile is of 'another"),
    ],
)
def test_another_load_or_machine_is_refused_and_named(profile: object, why: str, night: Path) -> None:
    """Doses of other strands, or in another hot path, mean nothing."""
    assert callable(profile)
    with pytest.raises(CannotResumeError, match=why):
        take_up(night, profile())


def test_who_is_told_and_how_it_is_reached_may_change(night: Path) -> None:
    """The link is no part of the machine's heat."""
    take_up(night, replace(demo_profile(), link=None, notify_file="elsewhere.toml")).close()


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (lambda _: b"", "is empty"),
        (lambda data: data[: data.index(b"\n") // 2], "first line is incomplete"),
        (lambda data: data[: data.index(b"\n") + 1], "nothing was recorded in it"),
        (lambda data: data.replace(b'"version":1', b'"version":2', 1), "version 2 of the recording format"),
        (lambda data: data + data, "a second recording begins"),
        (gzip.compress, "it is compressed"),
        (lambda _: b"hello\n", "is not a recording"),
    ],
)
def test_what_cannot_be_gone_on_with_is_refused_and_left_alone(content: object, why: str, night: Path) -> None:
    """Empty, cut off in its first line, without events, of a newer version, damaged, compressed, or something else."""
    assert callable(content)
    damaged = content(night.read_bytes())
    night.write_bytes(damaged)
    with pytest.raises(CannotResumeError, match=why):
        take_up(night, demo_profile())
    assert night.read_bytes() == damaged
    with night.open("rb") as file:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)  # nobody holds it any more


def test_a_recording_that_is_gone_is_refused(night: Path) -> None:
    """Deleted between the look for it and its opening."""
    night.unlink()
    with pytest.raises(CannotResumeError, match="No such file"):
        take_up(night, demo_profile())
