"""`profile check` and `profile new`, as the owner runs them."""

import argparse
import io
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.commands import profile as command
from monitor.config import load_profile, parse_profile
from monitor.core.parameters import ColdEnd, WallLaw
from monitor.exit_codes import WrongUseError
from monitor.profile.new import choose
from monitor.profile.report import CAUTION
from monitor.profile.template import Choices, profile_text

DEMO = Path(command.__file__).parent.parent / "profile" / "demo_profile.toml"


def arguments(*words: str) -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    command.add_parser(parser.add_subparsers(required=True))
    return parser.parse_args(["profile", *words])


def run(*words: str) -> int:
    return main(["profile", *words])


def answers(*lines: str) -> Callable[[str], str]:
    """An owner at the terminal who gives these answers, then closes it."""
    left: Iterator[str] = iter(lines)

    def ask(question: str) -> str:
        assert question.endswith(" ")
        try:
            return next(left)
        except StopIteration:
            raise EOFError from None

    return ask


class Terminal(io.StringIO):
    """Standard input with somebody at it."""

    def isatty(self) -> bool:
        """Somebody is at it."""
        return True


@pytest.fixture(autouse=True)
def _nobody_at_the_terminal(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.mktemp("config")))  # none of the tester's own materials
    monkeypatch.setattr(sys, "stdin", io.StringIO())


def _with_cold_end(text: str) -> str:
    """A new profile as its owner leaves it who has taken the template's comments on the cold end for granted."""
    lines, in_table = [], False
    for line in text.replace("ambient = true  #", "estimated = true  #").splitlines():
        in_table = (in_table or line == "# [cold_end]") and line.startswith("#")
        lines.append(line.removeprefix("# ") if in_table else line)
    return "\n".join(lines)


class TestCheck:
    """`profile check FILE`."""

    def test_sound_profile(self, capsys: pytest.CaptureFixture[str]) -> None:
        """A sound profile: exit status 0, what was understood, every default with its origin, and the caution."""
        assert run("check", str(DEMO)) == 0
        told = capsys.readouterr().out
        assert told.startswith(f"profile {DEMO} is fine\n")
        for words in ("heat break", "merge point, 52 mm", "sensor manifold", "input 4: demo-chalk", "link: none"):
            assert words in told
        assert told.rstrip().endswith(CAUTION)

    def test_defaults_are_told_with_their_origin(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        """A key left out is told with the value used and where it comes from."""
        path = tmp_path / "short.toml"
        path.write_text(DEMO.read_text(encoding="utf-8").replace("ambient_c = 25.0\n", ""))
        assert run("check", str(path)) == 0
        assert "ambient_c = 25.0 (common practice, no source)" in capsys.readouterr().out

    def test_faulty_profile(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        """A faulty profile: exit status 2 and one line for each fault."""
        path = tmp_path / "m.toml"
        text = DEMO.read_text(encoding="utf-8").replace("length_mm = 14.0", "length_mm = -14.0")
        path.write_text(text.replace("bore_mm = 2.0", "bore_mn = 2.0", 1))
        assert run("check", str(path)) == 2
        lines = capsys.readouterr().out.splitlines()
        assert lines[0].startswith("3 faults")
        assert [line.split(": ")[1].split(" = ")[0] for line in lines[1:]] == [
            "zones[1].bore_mm",
            "zones[1].bore_mn",
            "zones[2].length_mm",
        ]

    def test_missing_file(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        """A missing file: exit status 2 and what to do."""
        assert run("check", str(tmp_path / "none.toml")) == 2
        assert "no such file" in capsys.readouterr().out

    def test_serial_link_summary(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        """The link is told with what it reports, and with the inputs whose feed it never reports."""
        path = tmp_path / "m.toml"
        text = profile_text(Choices("m", {1: "PLA", 2: "PETG"}, serial="/dev/ttyACM0"))
        path.write_text(text.replace("1 = 2\n", ""))
        assert run("check", str(path)) == 0
        told = capsys.readouterr().out
        assert "link: serial, /dev/ttyACM0" in told
        assert "reports sensors: manifold, nozzle" in told
        assert "\nNOTE: !!! the link never reports the feed of input 2:" in told

    def test_an_estimated_cold_end_is_told(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        """That it is estimated, and where it would settle: (0.15 · 200 + 1.5 · 25) / 1.65 = 41 °C."""
        path = tmp_path / "m.toml"
        path.write_text(_with_cold_end(profile_text(Choices("m", {1: "PLA"}))))
        assert run("check", str(path)) == 0
        told = capsys.readouterr().out
        assert "bore 2 mm  estimated as cold end, PTFE liner" in told
        assert "cold end: ESTIMATED as 'cold end'" in told
        assert "it settles near 41 °C, half the way in 1.9 min" in told

    def test_no_link_is_told_last(self, capsys: pytest.CaptureFixture[str]) -> None:
        """A profile without a link ends by saying that it cannot be watched yet."""
        assert run("check", str(DEMO)) == 0
        note, caution = capsys.readouterr().out.splitlines()[-2:]
        assert "before you can watch" in note
        assert "[link]" in note
        assert caution == CAUTION

    def test_the_lowest_temperature_is_told_with_its_own_origin(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """The owner of a machine in frost learns which key to lower, and why."""
        path = tmp_path / "m.toml"
        path.write_text(profile_text(Choices("m", {1: "PLA"}, serial="/dev/ttyACM0")))
        assert run("check", str(path)) == 0
        told = capsys.readouterr().out
        assert "link.lowest_c = 0.0 (common practice, no source: no machine in a room is colder" in told

    def test_port_not_known_to_be_safe_is_told(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        """The owner learns from the check, not at night from the watch, that the port will not be opened."""
        path = tmp_path / "m.toml"
        text = profile_text(Choices("m", {1: "PLA"}, serial="/dev/ttyACM0"))
        path.write_text(text)
        assert run("check", str(path)) == 0
        note = capsys.readouterr().out.splitlines()[-2]
        assert "watch will refuse until open_is_safe = true" in note
        assert "--i-know-open-may-reset" in note
        path.write_text(text.replace("\nopen_is_safe = false", "\nopen_is_safe = true"))
        assert run("check", str(path)) == 0
        assert "before you can watch" not in capsys.readouterr().out


class TestNew:
    """`profile new`."""

    @pytest.mark.parametrize(
        "flags",
        [
            (),
            ("--serial", "/dev/ttyUSB0"),
            ("--serial", "/dev/ttyUSB0", "--baud", "250000", "--inputs", "3", "--material", "2=PETG"),
            ("--websocket", "ws://192.0.2.7:9001/data", "--inputs", "1"),
            ("--websocket", "wss://machine.example/data", "--inputs", "12"),
            ("--name", 'a "quoted" \\ name', "--filament-diameter-mm", "2.85", "--inputs", "64"),
        ],
    )
    def test_what_it_writes_is_sound(self, flags: tuple[str, ...], tmp_path: Path) -> None:
        """Whatever the flags, the profile written has no faults and carries comments."""
        path = tmp_path / "new.toml"
        assert run("new", "--output", str(path), *flags) == 0
        load_profile(path)
        assert path.read_text(encoding="utf-8").count("#") > 10

    def test_flags_reach_the_file(self, tmp_path: Path) -> None:
        """Name, inputs, materials, port and speed are those of the flags."""
        path = tmp_path / "new.toml"
        flags = ("--name", "left machine", "--inputs", "2", "--material", "2=PETG", "--serial", "/dev/ttyUSB3")
        assert run("new", "--output", str(path), *flags, "--baud", "250000") == 0
        profile = load_profile(path)
        assert profile.parameters.machine == "left machine"
        assert [strand.material.name for strand in profile.parameters.strands] == ["PLA", "PETG"]
        assert profile.link is not None
        assert profile.link.model_dump()["port"] == "/dev/ttyUSB3"
        assert profile.link.model_dump()["baud"] == 250_000

    def test_serial_profile_shows_the_choice_of_feed(self) -> None:
        """How feed and tool are read stands in a serial profile, each on one line with its comment, as by default."""
        lines = profile_text(Choices("m", {1: "PLA"}, serial="/dev/ttyACM0")).splitlines()
        (feed,) = (line for line in lines if line.startswith('feed = "single_axis"  # '))
        assert '"per_drive"' in feed
        assert "E0, E1" in feed
        assert any(line.startswith('tool_source = "reported"  # ') for line in lines)
        assert any(line.startswith("# tool_at_start = 0  # ") for line in lines)

    @pytest.mark.parametrize("old", ['feed = "single_axis"', "# tool_at_start = 0"])
    def test_other_choices_of_feed_are_sound(self, old: str, tmp_path: Path) -> None:
        """The other value that each comment names can be put there."""
        text = profile_text(Choices("m", {1: "PLA"}, serial="/dev/ttyACM0"))
        assert old in text
        path = tmp_path / "m.toml"
        path.write_text(text.replace(old, 'feed = "per_drive"' if old.startswith("feed") else "tool_at_start = 0"))
        load_profile(path)

    def test_the_example_of_a_cold_end_is_sound(self) -> None:
        """The commented table has the keys that a profile knows, and the zone's comment names the key to use."""
        parameters = parse_profile(_with_cold_end(profile_text(Choices("m", {1: "PLA"}))), "new.toml").parameters
        assert parameters.cold_end == ColdEnd(270.0, 0.15, 1.5, 25.0)
        assert parameters.zones[0].law is WallLaw.ESTIMATED

    def test_what_was_assumed_is_told(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        """Materials and link that nobody gave are named where the file is, and marked beside the material."""
        path = tmp_path / "new.toml"
        assert run("new", "--output", str(path), "--inputs", "3", "--material", "2=PETG") == 0
        told = capsys.readouterr().out
        assert "(assumed: material of input 1, 3 not given, so PLA as an example; no link)" in told
        lines = [line for line in path.read_text(encoding="utf-8").splitlines() if line.startswith("material = ")]
        example = 'material = "PLA"  # EXAMPLE: change this'
        assert lines == [example, 'material = "PETG"', example]

    def test_nothing_assumed_nothing_told(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        """With all flags given, nothing is called an assumption."""
        path = tmp_path / "new.toml"
        flags = ("--inputs", "1", "--material", "1=PLA", "--serial", "/dev/ttyUSB0")
        assert run("new", "--output", str(path), *flags) == 0
        assert "(assumed:" not in capsys.readouterr().out
        assert "EXAMPLE: change this" not in path.read_text(encoding="utf-8")

    def test_materials_in_any_case(self) -> None:
        """Flags and answers may write a material's name in any case; the profile has the table's own writing."""
        flags = ("new", "--name", "m", "--inputs", "2", "--material", "1=petg")
        assert choose(arguments(*flags), answers("", "pla")).materials == {1: "PETG", 2: "PLA"}

    def test_demo_materials_are_not_offered(self) -> None:
        """Whoever slips is told the real materials, not the invented ones of the demo."""
        with pytest.raises(WrongUseError, match="known: ") as caught:
            choose(arguments("new", "--material", "1=demo-chalkk"), None)
        assert "PETG" in str(caught.value)
        assert "demo-" not in str(caught.value).replace("demo-chalkk", "")

    def test_never_overwrites_unasked(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        """A file that is there stays as it is, unless --force is given."""
        path = tmp_path / "new.toml"
        path.write_text("mine")
        assert run("new", "--output", str(path)) == 2
        assert path.read_text() == "mine"
        assert "--force" in capsys.readouterr().err
        assert run("new", "--output", str(path), "--force") == 0
        assert path.read_text() != "mine"

    @pytest.mark.parametrize(
        ("flags", "told"),
        [
            (("--inputs", "0"), "allowed: 1 to 64"),
            (("--inputs", "65"), "allowed: 1 to 64"),
            (("--material", "1=PLAA"), "did you mean PLA"),
            (("--material", "9=PLA"), "from 1 to 6"),
            (("--material", "PLA"), "INPUT=NAME"),
            (("--baud", "9600"), "--serial only"),
            (("--serial", "/dev/ttyUSB0", "--baud", "3"), "link.baud"),
            (("--filament-diameter-mm", "9"), "filament_diameter_mm"),
            (("--name", " "), "name"),
        ],
    )
    def test_flags_that_cannot_be_used(
        self, flags: tuple[str, ...], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """A flag that makes no sound profile: exit status 2, the reason, and nothing written."""
        path = tmp_path / "new.toml"
        assert run("new", "--output", str(path), *flags) == 2
        captured = capsys.readouterr()
        assert told in captured.err
        assert not path.exists()

    def test_place_that_cannot_be_written(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        """A folder that is not there is told, not a traceback."""
        assert run("new", "--output", str(tmp_path / "none" / "new.toml")) == 2
        assert "cannot be written" in capsys.readouterr().err

    def test_asks_what_the_flags_leave_open(self) -> None:
        """On a terminal the questions fill what no flag says; an empty answer takes the default."""
        choices = choose(arguments("new", "--name", "m"), answers("2", "/dev/ttyACM0", "250000", "", "PETG"))
        assert choices == Choices("m", {1: "PLA", 2: "PETG"}, serial="/dev/ttyACM0", baud=250_000)

    def test_asks_again_after_a_slip(self) -> None:
        """An answer that cannot be used is asked for again."""
        choices = choose(arguments("new", "--name", "m"), answers("none", "1", "ws://192.0.2.7/x", "PLAA", "PLA"))
        assert choices.websocket == "ws://192.0.2.7/x"
        assert choices.materials == {1: "PLA"}

    def test_questions_broken_off(self) -> None:
        """Closing the terminal in the middle of the questions writes nothing."""
        with pytest.raises(WrongUseError, match="nothing was written"):
            choose(arguments("new"), answers("m", "2"))

    def test_asks_on_a_terminal(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        """On a terminal the command itself asks; the answers are in the file."""
        monkeypatch.setattr(sys, "stdin", Terminal())
        monkeypatch.setattr("builtins.input", answers("asked for", "1", "", "PETG"))
        path = tmp_path / "new.toml"
        assert run("new", "--output", str(path)) == 0
        assert load_profile(path).parameters.machine == "asked for"


def test_importing_the_command_is_cheap() -> None:
    """`--help` must answer at once, so importing the command pulls in no checker, no numbers and no links."""
    code = (
        "import sys, monitor.commands.profile;"
        "print(sorted({'pydantic', 'numpy', 'monitor.config', 'websockets'} & set(sys.modules)))"
    )
    found = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True, timeout=60)  # noqa: S603 -- our own code
    assert found.stdout.strip() == "[]"


def test_check_shows_all_that_could_be_sent(capsys: pytest.CaptureFixture[str]) -> None:
    """The owner sees every query and text of a link before it is ever opened."""
    examples = Path(__file__).parents[1] / "connectors" / "examples"

    assert run("check", str(examples / "serial_machine.toml")) == 0
    serial = capsys.readouterr().out
    assert run("check", str(examples / "websocket_machine.toml")) == 0
    websocket = capsys.readouterr().out

    assert [line.strip() for line in serial.splitlines() if "or rarer" in line] == [
        "every 2 s or rarer: M105",
        "every 2 s or rarer: M27",
        "every 2 s or rarer: M114",
    ]
    assert 'after connecting: {"want": "status and changes"}' in websocket
