"""The unit file starts a watch that there is, and a service manager understands it."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from monitor.cli import build_parser, main
from monitor.exit_codes import DONE, WRONG_USE
from monitor.service.unit import unit_text

SYSTEMD = shutil.which("systemd-analyze")


def _values(text: str, key: str) -> list[str]:
    return [line.partition("=")[2] for line in text.splitlines() if line.startswith(f"{key}=")]


def test_the_unit_has_the_owners_paths_and_options_that_there_are(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The command line in it is one that the program takes, without a screen, waiting for the machine."""
    profile = tmp_path / "machine.toml"
    assert main(["watch", "--profile", str(profile), "--print-unit"]) == DONE
    (command,) = _values(capsys.readouterr().out, "ExecStart")
    program, *words = command.split()
    assert program == str(Path(sys.prefix) / "bin" / "strandwatch")
    arguments = build_parser().parse_args(words)
    assert (arguments.profile, arguments.headless, arguments.wait) == (profile, True, True)


def test_a_path_is_one_word_to_systemd() -> None:
    """systemd.service(5): quotes around blanks, '%' and '$' doubled."""
    (command,) = _values(unit_text(Path("/a b/sw"), Path('/50 %/$x"y.toml')), "ExecStart")
    assert command == r'"/a b/sw" watch --headless --wait --profile "/50 %%/$$x\"y.toml"'


def test_a_new_start_mends_what_it_can_and_nothing_else() -> None:
    """It waits for a sign, gives up never, and does not start again what is wrong in a file."""
    text = unit_text(Path("/a"), Path("/b"))
    assert _values(text, "Type") == ["notify"]
    assert _values(text, "Restart") == ["on-failure"]
    assert _values(text, "RestartPreventExitStatus") == [str(WRONG_USE)]
    assert _values(text, "StartLimitIntervalSec") == ["0"]
    assert _values(text, "LimitCORE") == ["0"]  # an aborted process's memory holds addresses
    assert _values(text, "WatchdogSec") == ["10min"]


@pytest.mark.skipif(SYSTEMD is None, reason="systemd-analyze is not installed here")
def test_systemd_finds_nothing_wrong(tmp_path: Path) -> None:
    """`systemd-analyze verify` knows all keys and values, and prints nothing."""
    path = tmp_path / "strandwatch.service"
    path.write_text(unit_text(Path(sys.executable), tmp_path / "machine.toml"), encoding="utf-8")
    done = subprocess.run([str(SYSTEMD), "verify", str(path)], capture_output=True, text=True, check=False)  # noqa: S603 -- a file of our own
    assert (done.returncode, done.stdout + done.stderr) == (0, "")
