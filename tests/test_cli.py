"""The command line: quick help, clear refusals, documented exit statuses."""

import argparse
import os
import subprocess
import sys
from importlib import metadata
from pathlib import Path

import pytest

from connectors.errors import LinkFailedError, RecordingError, SettingsError
from monitor import cli
from monitor.exit_codes import WrongUseError

SLOW = (
    "asyncio",
    "importlib.metadata",
    "msgspec",
    "numpy",
    "platformdirs",
    "pydantic",
    "serial",
    "textual",
    "websockets",
)
COMMANDS = ("demo", "watch", "plan", "replay", "profile", "materials")
_ASK = """
import sys
from monitor.cli import main
try:
    main(sys.argv[1:])
finally:
    print(*(name for name in {slow!r} if name in sys.modules), file=sys.stderr)
"""


@pytest.mark.parametrize("words", [("--help",), *((command, "--help") for command in COMMANDS)])
def test_help_loads_nothing_slow(words: tuple[str, ...]) -> None:
    """What takes long to import is imported when a command runs, never for its help (0.3 s is promised)."""
    done = subprocess.run(  # noqa: S603 -- our own interpreter
        [sys.executable, "-c", _ASK.format(slow=SLOW), *words], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("usage: strandwatch")
    assert done.stderr.strip() == ""


@pytest.mark.parametrize(
    "words", [("--help",), ("demo", "--help"), ("watch", "--help"), ("plan", "--help"), ("replay", "--help")]
)
def test_help_documents_the_exit_statuses(words: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    """A script that calls the command finds there what its status means."""
    with pytest.raises(SystemExit, match="0"):
        cli.main(words)
    told = capsys.readouterr().out
    for status in ("0   done", "1   alerts of priority ALARM", "2   wrong use", "3   the link", "70  a fault"):
        assert status in told


def test_version_is_that_of_the_package(capsys: pytest.CaptureFixture[str]) -> None:
    """`--version` names the installed distribution."""
    with pytest.raises(SystemExit, match="0"):
        cli.main(["--version"])
    assert capsys.readouterr().out == f"strandwatch {metadata.version('strandwatch')}\n"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], "COMMAND"),
        (["dmo"], "invalid choice: 'dmo'"),
        (["demo", "--speed", "0"], "'0' is no number above 0"),
        (["demo", "--speed", "fast"], "'fast' is no number above 0"),
        (["demo", "--every", "nan"], "'nan' is no number above 0"),
        (["demo", "--record", "x.jsonl", "--no-record"], "not allowed with"),
        (["demo", "--seed", "one"], "invalid int value"),
        (["watch"], "--profile"),
        (["replay"], "FILE"),
    ],
)
def test_wrong_use_has_status_2(words: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    """What was wrong is told on standard error, beside the usage."""
    with pytest.raises(SystemExit) as ended:
        cli.main(words)
    assert ended.value.code == 2
    assert told in capsys.readouterr().err


class _Failing:
    """A command that ends with `failure`."""

    def __init__(self, failure: BaseException) -> None:
        self.failure = failure

    def add_parser(self, subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
        """Add it under the name of the demo."""

        def run(_arguments: argparse.Namespace) -> int:
            raise self.failure

        subparsers.add_parser("demo").set_defaults(run=run)


@pytest.mark.parametrize(
    ("failure", "status"),
    [
        (WrongUseError("told"), 2),
        (SettingsError("told"), 2),
        (RecordingError("told"), 2),
        (LinkFailedError("told"), 3),
    ],
)
def test_a_foreseen_failure_is_one_message_and_its_status(
    failure: Exception, status: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """No traceback; nothing on standard output."""
    monkeypatch.setattr(cli, "demo", _Failing(failure))
    assert cli.main(["demo"]) == status
    printed = capsys.readouterr()
    assert (printed.out, printed.err) == ("", "strandwatch: told\n")


def test_a_fault_of_our_own_is_never_taken_for_an_alarm(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Python would end with status 1, which means an alarm; 70 is EX_SOFTWARE of sysexits.h (from memory)."""
    monkeypatch.setattr(cli, "demo", _Failing(ZeroDivisionError()))
    assert cli.main(["demo"]) == 70
    told = capsys.readouterr().err
    assert "Traceback" in told
    assert "a fault in strandwatch itself" in told


def test_ctrl_c_before_the_watch_began_is_no_failure(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ending is the owner's right at any moment."""
    monkeypatch.setattr(cli, "demo", _Failing(KeyboardInterrupt()))
    assert cli.main(["demo"]) == 0


def test_a_full_disk_under_the_output_is_told_in_one_line() -> None:
    """/dev/full is a disk without room: no traceback, and no status that means something else."""
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "monitor", "demo", "--list"],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            timeout=60,
            check=False,
        )
    assert done.returncode == 2
    assert done.stderr == "strandwatch: the output cannot be written: No space left on device\n"


def test_a_locale_without_degrees_prints_a_stand_in() -> None:
    """A character that the terminal's encoding lacks never ends a watch."""
    code = "from monitor.output import prepare_streams; prepare_streams(); print('195 °C')"
    done = subprocess.run(  # noqa: S603 -- our own interpreter
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert (done.returncode, done.stdout) == (0, "195 ?C\n")
