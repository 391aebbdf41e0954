"""`plan` as its owner runs it: files good, hostile and missing, what is printed where, exit statuses. All invented."""

import io
import json
from collections.abc import Iterable
from importlib.resources import files
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from monitor import reading_bar
from monitor.cli import main
from monitor.config import DEMO_FILE
from monitor.exit_codes import DONE, NOT_SURVIVED, WRONG_USE
from monitor.plan_pages.page import FIRST_LINE
from monitor.reading_bar import ReadingBar
from tests.planned_builds import Turn, build_text, layers

PROFILE = str(files("monitor").joinpath(DEMO_FILE))
SCHEMA = json.loads(files("monitor.plan_pages").joinpath("plan.schema.json").read_text(encoding="utf-8"))
HEAD = "M83\nM104 T9 S195\nT0\n"


@pytest.fixture(autouse=True)
def _no_materials_of_the_tester(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.mktemp("config")))


def _file(tmp_path: Path, content: str | bytes, name: str = "lantern") -> str:
    path = tmp_path / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return str(path)


def _build(tmp_path: Path, turns: Iterable[Turn], manifold_c: float | None = 195.0) -> str:
    return _file(tmp_path, build_text(turns, manifold_c=manifold_c))


def _plan(*words: str) -> int:
    return main(["plan", "--profile", PROFILE, *words])


def _idle_night(tmp_path: Path) -> str:
    """Six hours in which chalk, used at the beginning, stands at 205 °C."""
    return _build(tmp_path, [Turn(4, 300.0), *layers(6.0, 1, 2)], 205.0)


def test_a_build_that_all_survive_has_status_0(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """On standard output the plan, in 80 columns and without colour, nothing on standard error."""
    assert _plan(_build(tmp_path, layers(1.0, 1, 2))) == DONE
    printed = capsys.readouterr()
    assert printed.out.startswith("Plan of lantern on demo machine (invented)\n")
    assert "Every strand survives this build as planned." in printed.out
    assert "\x1b" not in printed.out
    assert max(map(len, printed.out.splitlines())) <= 80
    assert printed.err == ""


def test_a_strand_that_does_not_survive_has_a_status_of_its_own(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """And is named, with what saves it."""
    assert _plan(_idle_night(tmp_path)) == NOT_SURVIVED == 6
    told = capsys.readouterr().out
    assert "Not all strands survive this build as planned: input 4" in told
    assert "What to change" in told


def test_options_can_be_left_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The verdict is the same; nothing is tried."""
    assert _plan(_idle_night(tmp_path), "--no-options", "--json") == NOT_SURVIVED
    data = json.loads(capsys.readouterr().out)
    assert [option["name"] for option in data["options"]] == ["as planned"]
    assert data["best"] is None


def test_the_owner_can_hold_the_manifold(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--manifold` goes before what the file says: at 160 °C nothing can feed."""
    assert _plan(_build(tmp_path, layers(1.0, 1, 2)), "--manifold", "160", "--no-options") == NOT_SURVIVED
    told = capsys.readouterr().out
    assert "the manifold is taken to be held at 160 °C, as asked for" in told
    assert "too cold to feed" in told


def test_json_keeps_to_its_schema_and_is_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One object for a build, one for a load."""
    assert _plan(_build(tmp_path, layers(0.5, 1, 2)), "--json") == DONE
    Draft202012Validator(SCHEMA).validate(json.loads(capsys.readouterr().out))
    assert _plan("--json") == DONE
    data = json.loads(capsys.readouterr().out)
    Draft202012Validator(SCHEMA).validate(data)
    assert data["kind"] == "load_out"


def test_ascii_is_ascii(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of a build and of a load."""
    _plan(_idle_night(tmp_path), "--ascii")
    _plan("--ascii")
    assert capsys.readouterr().out.isascii()


class TestPage:
    """`--html OUT`."""

    def test_it_is_written_beside_the_text(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        """And again over a page of ours."""
        build, page = _build(tmp_path, layers(0.5, 1, 2)), tmp_path / "plan.html"
        assert _plan(build, "--html", str(page)) == DONE
        assert _plan("--html", str(page)) == DONE
        assert page.read_text(encoding="utf-8").startswith(FIRST_LINE)
        assert "The load in the hot path" in page.read_text(encoding="utf-8")
        assert "Every strand survives" in capsys.readouterr().out
        assert sorted(path.name for path in tmp_path.iterdir()) == ["lantern", "plan.html"]

    def test_it_goes_over_nothing_else(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        """Neither the build file nor anything that is no page of ours."""
        build, other = _build(tmp_path, layers(0.5, 1, 2)), tmp_path / "diary.html"
        other.write_text("dear diary")
        for out in (build, str(other)):
            before = Path(out).read_bytes()
            assert _plan(build, "--html", out) == WRONG_USE
            assert "is there already and is no page of strandwatch" in capsys.readouterr().err
            assert Path(out).read_bytes() == before

    def test_where_nothing_can_be_written_that_is_told(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """A directory that is not there."""
        build = _build(tmp_path, layers(0.5, 1, 2))
        assert _plan(build, "--html", str(tmp_path / "none" / "plan.html")) == WRONG_USE
        assert "cannot be written: No such file or directory" in capsys.readouterr().err


class TestLoad:
    """Without a file."""

    def test_the_load_is_checked(self, capsys: pytest.CaptureFixture[str]) -> None:
        """All six can share, and for how long each may stand."""
        assert _plan() == DONE
        told = capsys.readouterr().out
        assert "All can share it, with the manifold at 190 °C or more" in told
        assert "Pair by pair" in told

    def test_any_materials_can_be_checked(self, capsys: pytest.CaptureFixture[str]) -> None:
        """Polycarbonate cannot share this path with anything; the status says so."""
        assert _plan("--materials-list", "PETG, PC,demo-coal") == NOT_SURVIVED
        assert "They cannot all share it: PC feeds only from" in " ".join(capsys.readouterr().out.split())

    def test_a_material_that_is_not_known_is_told(self, capsys: pytest.CaptureFixture[str]) -> None:
        """With what is like it."""
        assert _plan("--materials-list", "PETG,PTEG") == WRONG_USE
        assert "there is no material 'PTEG' (did you mean PTFE or PETG?)" in capsys.readouterr().err


class TestHostile:
    """Files that are no builds, or mean harm."""

    @pytest.mark.parametrize(
        ("content", "told"),
        [
            (b"", "the file is empty"),
            (b"\x00\x01\x02" * 1000, "a NUL byte"),
            (b"; nothing but words\n", "no move and no command in it"),
        ],
    )
    def test_no_build_file_is_told(
        self, tmp_path: Path, content: bytes, told: str, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """What is wrong, and what to do."""
        assert _plan(_file(tmp_path, content)) == WRONG_USE
        printed = capsys.readouterr()
        assert told in printed.err
        assert "Give the plain text file that the machine runs" in printed.err
        assert printed.out == ""

    def test_a_file_that_is_not_there_is_told(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        """A directory is no file either."""
        assert _plan(str(tmp_path / "none")) == WRONG_USE
        assert "cannot be read: No such file or directory" in capsys.readouterr().err
        assert _plan(str(tmp_path)) == WRONG_USE
        assert "cannot be read: Is a directory" in capsys.readouterr().err

    @pytest.mark.parametrize(
        ("line", "told"),
        [
            ("G1 E5000 F0.01\n", "57.9 days; a plan goes up to 14"),
            ("G1 E9000000 F600000000\n" * 2, "moves input 1 by 1.8e+04 m in all"),
        ],
    )
    def test_what_no_build_is_is_refused(
        self, tmp_path: Path, line: str, told: str, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """Before it costs hours or memory."""
        assert _plan(_file(tmp_path, HEAD + line)) == WRONG_USE
        assert told in capsys.readouterr().err

    @pytest.mark.parametrize(
        "content", ["G28\n", HEAD, HEAD + "G1 X1e9\nG1 E1e99 F1\n", "M104 T9 S999\nT0\nG1 E9 F60\n"]
    )
    def test_odd_files_are_planned_all_the_same(
        self, tmp_path: Path, content: str, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """No moves, no feed, numbers too large, a set point above all limits: told, never a fault of ours."""
        assert _plan(_file(tmp_path, content), "--json") in {DONE, NOT_SURVIVED}
        Draft202012Validator(SCHEMA).validate(json.loads(capsys.readouterr().out))

    def test_names_and_words_cannot_command_anything(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        """Neither a terminal nor a browser."""
        content = HEAD + "G1 E100 F60\n\x1b]0;evil\x07 Q9\n<script>alert(1)</script>\nM0 \x1b[31m<b>stop</b>\n"
        page = tmp_path / "page.html"
        assert _plan(_file(tmp_path, content, "\x1b[31m<b>evil"), "--html", str(page)) == DONE
        assert "\x1b" not in capsys.readouterr().out
        text = page.read_text(encoding="utf-8")
        assert "\x1b" not in text
        assert "<script" not in text
        assert "<b>" not in text

    def test_unknown_words_are_told_with_their_first_line(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """And how often."""
        _plan(_file(tmp_path, HEAD + "G1 E100 F60\nM9999 S1\nM9999 S2\n"))
        assert "not understood: M9999, 2 times, first on line 5" in capsys.readouterr().out

    def test_stops_of_unknown_length_are_told(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        """They age what stands, and nobody knows for how long."""
        _plan(_file(tmp_path, HEAD + "G1 E100 F60\nM0\n"))
        told = " ".join(capsys.readouterr().out.split())
        assert "1 stop of unknown length, not in the time: M0 (pause) on line 5" in told
        assert "Every stop of unknown length ages what stands" in told


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--manifold", "200"], "are for a build file"),
        (["--no-options"], "are for a build file"),
        (["none", "--materials-list", "PETG"], "is for the check without a file"),
    ],
)
def test_options_that_do_not_go_together(words: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Are refused before anything is read."""
    assert _plan(*words) == WRONG_USE
    assert told in capsys.readouterr().err


@pytest.mark.parametrize("words", [["--manifold", "900"], ["--manifold", "-3"], ["--materials-list", ","], []])
def test_values_that_cannot_be_meant(words: list[str]) -> None:
    """And a profile is always needed."""
    with pytest.raises(SystemExit, match="2"):
        main(["plan", *words])


class _Terminal(io.StringIO):
    def isatty(self) -> bool:
        """It is one."""
        return True


class TestBar:
    """How far a long reading has come."""

    def test_it_is_drawn_on_a_terminal_and_leaves_no_trace(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """Half of the file is half of the bar; the last thing written clears the line."""
        monkeypatch.setenv("TERM", "xterm")
        out = _Terminal()
        bar = ReadingBar(out, 200)
        bar.read(100)
        bar.says("reckoning")
        bar.gone()
        assert f"reading [{'#' * 15}{' ' * 15}]  50%" in out.getvalue()
        assert out.getvalue().endswith("reckoning\r\x1b[2K")

    def test_it_is_silent_elsewhere(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """Into a file, without standard error, on a dumb terminal."""
        plain, dumb = io.StringIO(), _Terminal()
        ReadingBar(plain, 10).read(5)
        ReadingBar(None, 10).read(5)
        monkeypatch.setenv("TERM", "dumb")
        ReadingBar(dumb, 10).read(5)
        assert plain.getvalue() + dumb.getvalue() == ""

    def test_a_size_that_is_not_known_is_no_fault(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """Nor one that was wrong."""
        monkeypatch.setenv("TERM", "xterm")
        out = _Terminal()
        ReadingBar(out, 0).read(5)
        ReadingBar(out, 5).read(50)
        assert "100%" in out.getvalue()
        assert reading_bar.__doc__
