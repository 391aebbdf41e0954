"""`bench` from its options to the owner's files: a whole test over a simulated machine, and what may go wrong."""

import argparse
import asyncio
import io
import json
import os
import pty
import signal
import subprocess
import sys
import tomllib
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from connectors.errors import LinkFailedError
from connectors.recording import Conclusion, read_recording
from connectors.telemetry import Event, Sample
from monitor.bench.report import Row, table_lines
from monitor.bench_seat.answers import Answers
from monitor.bench_seat.log import append, log_beside, read
from monitor.commands import bench as command
from monitor.commands.bench_run import Bench, carry_out, make_bench, run
from monitor.config import demo_profile
from monitor.exit_codes import DONE, WrongUseError
from monitor.output import Output
from tests.bench_machine import BenchMachine, unchanged, without


def options(*words: str) -> argparse.Namespace:
    """The command's options."""
    parser = argparse.ArgumentParser()
    command.add_parser(parser.add_subparsers())
    return parser.parse_args(["bench", *words])


class Typed(Output):
    """Keeps the lines, and types at the machine what is to be typed."""

    def __init__(self, machine: BenchMachine) -> None:
        super().__init__(None, io.StringIO())
        self.lines: list[str] = []
        self.messages: list[str] = []
        self._machine = machine

    def line(self, text: str) -> None:
        """Show a line."""
        self.lines.append(text)
        self._machine.hears(text)

    def message(self, text: str) -> None:
        """Show a message."""
        self.messages.append(text)


class Source:
    """The machine's samples as a link; `then` happens after `after_s`."""

    def __init__(
        self,
        machine: BenchMachine,
        through: Callable[[Sample], Iterator[Event]] = unchanged,
        after_s: float = 1e9,
        then: Callable[[], None] = lambda: None,
    ) -> None:
        self._machine, self._through, self._after_s, self._then = machine, through, after_s, then

    async def events(self) -> AsyncIterator[Event]:
        """Yield them as fast as they are reckoned."""
        while True:
            for event in self._through(self._machine.tick()):
                yield event
            if self._machine.time_s >= self._after_s:
                self._after_s = 1e9
                self._then()
            await asyncio.sleep(0)


@contextmanager
def piped(text: str) -> Iterator[Answers]:
    """Answers in a pipe that ends."""
    reader, writer = os.pipe()
    os.write(writer, text.encode())
    os.close(writer)
    with os.fdopen(reader, encoding="utf-8") as stream:
        yield Answers(stream)


class Trial:
    """A test of input 1 with its files in a directory."""

    def __init__(self, tmp_path: Path, answers: Answers | None = None) -> None:
        self.machine = BenchMachine()
        self.materials = tmp_path / "materials.toml"
        self.recordings = tmp_path / "recordings"
        arguments = options("--profile", "x.toml", "--input", "1", "--nozzle", "215")
        self.output = Typed(self.machine)
        made = make_bench(arguments, demo_profile(), self.materials)
        self.bench: Bench = made._replace(output=self.output, answers=answers or Answers(None))

    def runs(self, source: Source | None = None, *, writes: bool = False) -> int:
        """Carry it out."""
        return carry_out(self.bench, source or Source(self.machine), "bench machine", self.recordings, writes=writes)

    @property
    def said(self) -> str:
        """All lines as one text."""
        return " ".join(" ".join(self.output.lines).split())

    @property
    def logged(self) -> list[dict[str, Any]]:
        """The log's lines."""
        text = log_beside(self.materials).read_text(encoding="utf-8")
        return [json.loads(line) for line in text.splitlines()]


def test_a_whole_test_ends_in_the_owners_materials(tmp_path: Path) -> None:
    """The figure with its evidence in the file, all attempts in the log and in the recording."""
    trial = Trial(tmp_path)
    assert trial.runs(writes=True) == DONE
    value = tomllib.loads(trial.materials.read_text(encoding="utf-8"))["demo-amber"]["min_feed_c"]
    (entry,) = trial.logged
    assert value["value"] == entry["min_feed_c"]
    assert value["status"] == "bench"
    for part in ("bench 20", "demo machine (invented)", "input 1", "4.8 mm³/s", "attempts", "90 % interval"):
        assert part in value["source"]
    (path,) = trial.recordings.iterdir()
    notes = [it for it in read_recording(path).items() if isinstance(it, Conclusion) and it.kind == "bench_attempt"]
    assert [note.data["temp_c"] for note in notes] == [attempt["temp_c"] for attempt in entry["attempts"]]
    assert entry["recording"] == str(path)
    assert "more than a metre" in trial.said
    assert "Ventilate" in trial.said


@pytest.mark.parametrize(("answer", "is_written"), [("y\n", True), ("n\n", False), ("", False)])
def test_an_older_figure_is_shown_and_only_replaced_after_a_yes(
    tmp_path: Path,
    answer: str,
    is_written: bool,  # noqa: FBT001 -- parametrized
) -> None:
    """Without a yes the file stays, and the lines to write by hand are shown."""
    old = "# mine\n[demo-amber]\nmin_feed_c = 178\n"
    with piped(answer) as answers:
        trial = Trial(tmp_path, answers)
        trial.materials.write_text(old, encoding="utf-8")
        assert trial.runs() == DONE
    new = trial.materials.read_text(encoding="utf-8")
    assert "says so far: min_feed_c = 178" in trial.said
    assert (new != old) is is_written
    assert new.startswith("# mine\n")
    assert any(line.startswith("min_feed_c = {") for line in trial.output.lines) is not is_written


def test_a_read_only_file_is_told_and_the_result_kept(tmp_path: Path) -> None:
    """The lines to write by hand are shown, and the log has the result."""
    trial = Trial(tmp_path)
    trial.materials.write_text("# mine\n", encoding="utf-8")
    trial.materials.chmod(0o400)
    assert trial.runs(writes=True) == DONE
    assert "read-only" in trial.output.messages[0]
    assert "To be written by hand:" in trial.output.lines
    assert trial.logged[0]["min_feed_c"] is not None
    assert trial.materials.read_text(encoding="utf-8") == "# mine\n"


def test_ctrl_c_keeps_what_was_measured(tmp_path: Path) -> None:
    """Attempts so far are in the log with the reason; the materials stay as they are."""
    trial = Trial(tmp_path)
    source = Source(trial.machine, after_s=1400.0, then=lambda: os.kill(os.getpid(), signal.SIGINT))
    assert trial.runs(source, writes=True) == DONE
    (entry,) = trial.logged
    assert 2 <= len(entry["attempts"]) <= 5
    assert entry["why"] == "ended by the owner"
    assert entry["min_feed_c"] is None
    assert not trial.materials.exists()
    assert "Broken off (ended by the owner)" in trial.said


def test_ctrl_c_before_any_attempt_leaves_no_result(tmp_path: Path) -> None:
    """There is nothing to keep."""
    trial = Trial(tmp_path)
    trial.runs(Source(trial.machine, after_s=20.0, then=lambda: os.kill(os.getpid(), signal.SIGINT)))
    assert not log_beside(trial.materials).exists()


def test_a_link_that_fails_for_good_keeps_what_was_measured(tmp_path: Path) -> None:
    """The failure is told by the command as ever, after the attempts were kept."""
    trial = Trial(tmp_path)

    def fails() -> None:
        raise LinkFailedError("the port is gone")

    with pytest.raises(LinkFailedError):
        trial.runs(Source(trial.machine, after_s=1400.0, then=fails))
    assert trial.logged[0]["why"] == "the port is gone"


def test_a_question_that_nobody_can_answer_ends_the_test(tmp_path: Path) -> None:
    """Standard input is at its end: it does not wait for ever."""
    with piped("") as answers:
        trial = Trial(tmp_path, answers)
        trial.runs(Source(trial.machine, without("sensed_mm", "stall")))
    assert "standard input has ended" in trial.said


def test_a_script_can_answer(tmp_path: Path) -> None:
    """Lines of a pipe wait for their questions, the last one for the question whether to write."""
    with piped("y\nn\nn\nn\ny\nY\nN\n" + 10 * "y\n") as answers:
        trial = Trial(tmp_path, answers)
        trial.runs(Source(trial.machine, without("sensed_mm", "stall")))
    assert [attempt["outcome"] for attempt in trial.logged[0]["attempts"]][:4] == ["skipped"] * 3 + ["fed"]
    assert {attempt["witness"] for attempt in trial.logged[0]["attempts"]} == {"you"}


@contextmanager
def terminal() -> Iterator[tuple[Answers, int]]:
    """Answers at a terminal, and the end that a person types at."""
    person, machine_side = pty.openpty()
    with os.fdopen(machine_side, encoding="utf-8") as stream:
        yield Answers(stream), person
    os.close(person)


async def test_lines_typed_at_a_terminal_arrive() -> None:
    """Each line as it comes, in small letters."""
    with terminal() as (answers, person):
        came = asyncio.Event()
        with answers.listening(came.set):
            os.write(person, b"  Y \n")
            await asyncio.wait_for(came.wait(), 10.0)
        assert answers.is_terminal
        assert answers.pop() == "y"
        assert answers.pop() is None


def test_what_is_typed_before_a_question_does_not_answer_it(tmp_path: Path) -> None:
    """At a terminal stray lines are dropped: here a y long before anything is asked."""
    with terminal() as (answers, person):
        trial = Trial(tmp_path, answers)
        os.write(person, b"y\n")
        stop = Source(
            trial.machine,
            without("sensed_mm", "stall"),
            after_s=2500.0,
            then=lambda: os.kill(os.getpid(), signal.SIGINT),
        )
        trial.runs(stop)
    assert "Did it come out evenly?" in trial.said
    assert not log_beside(trial.materials).exists()


def test_a_strands_own_figure_in_the_profile_is_told(tmp_path: Path) -> None:
    """It would count in place of what was written."""
    trial = Trial(tmp_path)
    table = dict(trial.bench.profile.table)
    table["strands"] = [{**row, "min_feed_c": 180.0} for row in table["strands"]]
    profile = trial.bench.profile
    object.__setattr__(profile, "table", table)  # a frozen one, made for this test alone
    trial.runs(writes=True)
    assert "has a min_feed_c of its own, which counts" in trial.said


def test_results_are_listed_in_80_columns(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Material, range, nozzle, figure with interval, slip, date, machine; odd lines are counted, not fatal."""
    materials = tmp_path / "materials.toml"
    assert run(options("list", "--materials", str(materials))) == DONE
    assert "no results yet" in capsys.readouterr().out
    log = log_beside(materials)
    whole = {
        "kind": "bench",
        "at": "2026-11-27T22:00:00+01:00",
        "machine": "garage \x1b[31m, the left one of both",
        "material": "x" * 90,
        "maker_c": [190, 230],
        "nozzle_c": 210,
        "min_feed_c": 171,
        "low_c": 160.8,
        "high_c": 170.2,
        "slip": 0.0123,
        "attempts": [],
    }
    append(log, whole)
    with log.open("ab") as file:
        file.write(b'{"kind": "bench", "at"')
    append(log, {**whole, "material": "PLA", "min_feed_c": None, "low_c": None, "slip": None})
    assert run(options("list", "--materials", str(materials))) == DONE
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    assert "\x1b" not in "".join(lines)
    assert "190–230  210    171 (160–171)  1.2   2026-11-27" in lines[2]
    assert lines[3].startswith("PLA")
    assert lines[-1].endswith("passed over: 1")
    assert log.stat().st_mode & 0o777 == 0o600


def test_a_row_without_anything_known_is_a_row() -> None:
    """Dashes stand for what is not known."""
    row = table_lines([Row("PLA", "", None, None, None, None, None, "2026-11-27", "garage")])[-1]
    assert row.split() == ["PLA", "–", "–", "–", "–", "2026-11-27", "garage"]


def test_a_log_with_only_garbage_is_read(tmp_path: Path) -> None:
    """All of it is passed over."""
    path = tmp_path / "bench.jsonl"
    path.write_bytes(b"\xff\xfe\n[]\n{}\nnull\n")
    assert read(path) == ([], 4, 0)


@pytest.mark.parametrize("words", [("--input", "1"), ("--profile", "x.toml"), ()])
def test_a_test_needs_a_profile_and_an_input(words: tuple[str, ...]) -> None:
    """Said in words."""
    with pytest.raises(WrongUseError, match="needs --profile FILE and --input N"):
        run(options(*words))


def test_limits_are_refused_in_words(tmp_path: Path) -> None:
    """Exit by wrong use, before anything is opened."""
    arguments = options("--profile", "x", "--input", "1", "--to", "300")
    with pytest.raises(WrongUseError, match="300 °C is refused"):
        make_bench(arguments, demo_profile(), tmp_path / "materials.toml")


def test_the_options_are_cheap_to_import() -> None:
    """Help must answer at once: no numpy, no TOML editor."""
    code = "import sys, monitor.commands.bench; print({'numpy', 'tomlkit', 'pydantic'} & set(sys.modules))"
    told = subprocess.run(  # noqa: S603 -- our own words
        [sys.executable, "-c", code], check=True, capture_output=True, text=True, timeout=60.0
    )
    assert told.stdout.strip() == "set()"
