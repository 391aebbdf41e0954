"""`demo`: a whole simulated night, as its owner, a pipe or a program sees it."""

import json
import re
import signal
import subprocess
import sys
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import jsonschema
import pytest

import monitor
from connectors.recording import Conclusion, read_recording
from connectors.simulated_link import SimulatedLink
from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import SCENARIOS
from connectors.telemetry import LinkChange, Sample
from monitor.cli import main
from monitor.commands import demo_run
from monitor.history.keeping import Keeper
from monitor.session import Session

DEMO = [sys.executable, "-m", "monitor", "demo"]
SAFETY_S = 120.0


@pytest.fixture
def coarse(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the simulated machine report every 4 s, so that a night takes a quarter of the time."""
    monkeypatch.setattr(demo_run, "SimulatedLink", partial(SimulatedLink, period_s=4.0))


@dataclass(frozen=True)
class Night:
    """A finished run of the command."""

    status: int
    out: str
    err: str
    recording: Path


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Night:
    """Return the run that the README shows, without a terminal, recorded."""
    path = tmp_path_factory.mktemp("night") / "night.jsonl"
    done = subprocess.run(  # noqa: S603 -- our own interpreter
        [*DEMO, "--record", str(path)], capture_output=True, text=True, timeout=SAFETY_S, check=False
    )
    return Night(done.returncode, done.stdout, done.stderr, path)


def test_a_whole_night_runs_without_a_terminal(night: Night) -> None:
    """It ends with status 0, says first that nothing is real, and has nothing to complain about."""
    assert night.status == 0
    assert night.out.startswith("SIMULATED machine, invented strands")
    assert night.err == ""


def test_the_strand_left_idle_is_warned_of_before_its_limit(night: Night) -> None:
    """Machine time, priority, input, text and action: a WARNING, an ALARM as nobody saw it, another at the limit."""
    told = re.findall(r"^(\d\d:\d\d:\d\d)  (WARNING|ALARM) .*input 4 .*\n +do: .*input 4", night.out, re.MULTILINE)
    assert [priority for _, priority in told] == ["WARNING", "ALARM", "ALARM"]
    assert "04:00:00" < told[0][0] < "08:00:00"
    assert told[0][0] < told[1][0] < "06:00:00" < told[2][0] < "10:00:00"


def test_the_summary_tells_every_strand_the_alerts_and_the_data(night: Night) -> None:
    """Six strands; only input 4 is past its limit; every sample of the night was taken in."""
    rows = re.findall(r"^input (\d) .*%(.*)$", night.out, re.MULTILINE)
    assert [(number, verdict.strip()) for number, verdict in rows] == [
        *((str(number), "") for number in (1, 2, 3)),
        ("4", "past its limit"),
        *((str(number), "") for number in (5, 6)),
    ]
    assert "alerts: 1 ALARM" in night.out
    assert "data: samples 36000, not understood 0" in night.out


def _is_by_design(item: Conclusion) -> bool:
    """Whether an alert came or went while the machine's state held it back: a heater on its way."""
    return "Suppressed-by-design" in {item.data["state"], item.data["previous_state"]}


def test_a_recorded_night_holds_every_event_and_conclusion(night: Night) -> None:
    """All samples, a summary a minute, the changes of alerts, and the end."""
    recording = read_recording(night.recording)
    items = list(recording.items())
    kinds = [item.kind for item in items if isinstance(item, Conclusion)]
    assert sum(isinstance(item, Sample) for item in items) == 36_000
    assert kinds.count("assessment") == 601
    alerts = [item for item in items if isinstance(item, Conclusion) and item.kind == "alert"]
    announced = [item for item in alerts if not _is_by_design(item)]
    told = [item for item in announced if not item.data["folded_under"]]  # the rest is told by the alert with its cause
    assert len(told) == night.out.count("  do: ") + len(re.findall("cleared|eased", night.out))
    assert {item.data["condition"] for item in announced} == {"dose", "standing"}
    assert kinds[-1] == "end"
    assert "simulated machine" in recording.header.source
    assert (recording.skipped, recording.torn, recording.damage) == (0, False, None)


@pytest.mark.usefixtures("coarse")
def test_json_of_a_night_is_valid_and_marks_the_simulation_beside_it(capsys: pytest.CaptureFixture[str]) -> None:
    """Standard output holds JSON Lines only, one assessment an hour if asked; words go to standard error.

    The night has an ALARM, so it has status 1 if that is asked for.
    """
    assert main(["demo", "left-idle", "--json", "--every", "3600", "--fail-on-alarm"]) == 1
    printed = capsys.readouterr()
    check = jsonschema.Draft202012Validator(
        json.loads((Path(monitor.__file__).parent / "output.schema.json").read_text())
    )
    lines = [json.loads(line) for line in printed.out.splitlines()]
    for line in lines:
        check.validate(line)
    assert [line["kind"] for line in lines].count("assessment") == 11
    assert lines[-1]["kind"] == "end"
    assert lines[-1]["alerts_raised"]["ALARM"] == 1
    assert printed.err.startswith("strandwatch: SIMULATED machine")


@pytest.mark.usefixtures("coarse")
def test_a_healthy_night_raises_nothing_above_a_caution(capsys: pytest.CaptureFixture[str]) -> None:
    """Nobody is woken for nothing, and the status says so too."""
    assert main(["demo", "healthy-night", "--fail-on-alarm"]) == 0
    assert not re.search("WARNING|ALARM ", capsys.readouterr().out.partition("end:")[0])


def test_the_same_seed_gives_the_same_night(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """And another seed another one; an hour is enough to see it."""
    monkeypatch.setattr(demo_run, "SimulatedLink", partial(SimulatedLink, duration_s=3600.0))
    told = []
    for seed in ("3", "3", "4"):
        main(["demo", "--seed", seed])
        told.append(capsys.readouterr().out.partition("seed ")[2].partition("\n")[2])
    assert told[0] == told[1] != told[2]


@pytest.mark.parametrize(
    ("words", "kept"), [([], 0), (["--speed", "60"], 1), (["--headless"], 0), (["--headless", "--speed", "1"], 1)]
)
def test_a_night_as_fast_as_it_goes_is_not_remembered(
    words: list[str], kept: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is over before anybody looks, and would take several times as long; at any pace it is."""
    keepers: list[object] = []

    def carry_out(session: Session, *_: object) -> int:
        keepers.extend(look for look in session._onlookers if isinstance(getattr(look, "__self__", None), Keeper))
        return 0

    monkeypatch.setattr(demo_run, "carry_out", carry_out)
    assert main(["demo", *words]) == 0
    assert len(keepers) == kept


def test_scenarios_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    """Each with what happens in it."""
    assert main(["demo", "--list"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines] == list(SCENARIOS)


def test_the_words_of_a_demo_need_no_more_than_ascii(capsys: pytest.CaptureFixture[str]) -> None:
    """Stories and the build's name come out whole where the locale knows nothing else."""
    assert main(["demo", "--list"]) == 0
    assert capsys.readouterr().out.isascii()
    greetings = [next(simulate(scenario)) for scenario in SCENARIOS.values()]
    assert all(isinstance(greeting, LinkChange) and greeting.reason.isascii() for greeting in greetings)


def test_an_unknown_scenario_is_wrong_use(capsys: pytest.CaptureFixture[str]) -> None:
    """It is named, and so are those there are."""
    assert main(["demo", "quiet-night"]) == 2
    told = capsys.readouterr().err
    assert "'quiet-night'" in told
    assert "healthy-night" in told


@pytest.mark.usefixtures("coarse")
def test_the_severity_of_a_fault_can_be_chosen(capsys: pytest.CaptureFixture[str]) -> None:
    """A severe clog is told earlier in the night than a plain one, and the opening words say how bad it is."""
    told = {}
    for severity in ("plain", "severe"):
        assert main(["demo", "slow-clog", "--headless", "--severity", severity]) == 0
        out = capsys.readouterr().out
        assert f"scenario slow-clog, {severity}: " in out
        (told[severity], *_) = re.findall(r"^(\d\d:\d\d:\d\d)  .*input 1 .*slow clog", out, re.MULTILINE)
    assert told["severe"] < told["plain"]


def test_a_fault_without_degrees_is_wrong_use(capsys: pytest.CaptureFixture[str]) -> None:
    """An empty spool cannot be slightly empty; the message names the scenarios that come in degrees."""
    assert main(["demo", "run-out", "--severity", "slight"]) == 2
    told = capsys.readouterr().err
    assert "run-out knows no degrees" in told
    assert "grinding" in told


def test_a_recording_never_overwrites_a_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Wrong use; the file stays as it was."""
    path = tmp_path / "mine.jsonl"
    path.write_text("mine")
    assert main(["demo", "--record", str(path)]) == 2
    assert path.read_text() == "mine"
    assert "exists already" in capsys.readouterr().err


def test_a_reader_that_leaves_ends_the_night_quietly(tmp_path: Path) -> None:
    """As in `strandwatch demo | head -1`: status 0, no complaint, and the recording is whole."""
    path = tmp_path / "night.jsonl"
    with subprocess.Popen(  # noqa: S603 -- our own interpreter
        [*DEMO, "--every", "60", "--record", str(path)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        assert process.stdout.readline().startswith("SIMULATED")
        process.stdout.close()
        assert process.stderr.read() == ""
        assert process.wait(SAFETY_S) == 0
    assert _last(path) == "the output went away"


@pytest.mark.parametrize(
    ("number", "reason"), [(signal.SIGTERM, "ended by SIGTERM"), (signal.SIGINT, "ended by the owner")]
)
def test_a_signal_ends_the_night_with_its_summary(number: signal.Signals, reason: str, tmp_path: Path) -> None:
    """Status 0, the summary so far, and a recording with its end line."""
    path = tmp_path / "night.jsonl"
    with subprocess.Popen(  # noqa: S603 -- our own interpreter
        [*DEMO, "--headless", "--speed", "600", "--every", "60", "--record", str(path)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        while "status:" not in process.stdout.readline():
            pass
        process.send_signal(number)
        out, err = process.communicate(timeout=SAFETY_S)
    assert (process.returncode, err) == (0, "")
    assert f"end: {reason}" in out
    assert "alerts: none" in out
    assert _last(path) == reason


def _last(path: Path) -> str:
    """Why the recording says that it ended."""
    last = list(read_recording(path).items())[-1]
    assert isinstance(last, Conclusion)
    assert last.kind == "end"
    return str(last.data["reason"])
