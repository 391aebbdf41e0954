"""The report as a page and as Markdown: what is in it, how it is written, and what a real browser makes of it."""

import importlib.util
import json
import re
from collections.abc import Callable
from html.parser import HTMLParser
from io import BytesIO
from pathlib import Path

import pytest
import zstandard
from matplotlib.image import imread

from monitor.cli import main
from monitor.exit_codes import DONE, WRONG_USE
from monitor.page_parts import POLICY
from monitor.report.markdown_page import plain
from tests.browser import DARK, opened, pictured, printed, trap
from tests.report_examples import replay

SECTIONS = (
    "In short",
    "What would have saved it",
    "Why: explanations of the first failure",
    "Alerts",
    "The strands",
    "What was asked and what was sent",
    "Quality of the data",
    "Settings and where they come from",
    "Material values",
    "Cautions",
)
PLOTS = ("Timeline of the strands", "Heat dose", "Temperatures")
_PNG_HEAD = 8


class _Tags(HTMLParser):
    """Elements and attributes of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.names: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.ids: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.names.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]
        self.ids += [value or "" for name, value in attrs if name == "id"]


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The report of the link's drop-outs: it has gaps."""
    out = tmp_path_factory.mktemp("page") / "night.html"
    assert main(["report", str(replay("link-drop-outs")), "--html", str(out)]) == DONE
    return out


@pytest.fixture(scope="module")
def stall_page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The report of a jam: it has feed around the failure."""
    out = tmp_path_factory.mktemp("page") / "jam.html"
    assert main(["report", str(replay("tangle")), "--html", str(out)]) == DONE
    return out


def test_all_sections_and_plots_are_there(page: Path) -> None:
    """Every part that the report promises has its heading, and every plot its drawing with words for it."""
    text = page.read_text(encoding="utf-8")

    assert [name for name in (*SECTIONS, *PLOTS) if f">{name}<" not in text] == []
    assert text.count("<svg") == len(PLOTS)
    assert len(re.findall(r'<figure role="img" aria-label="[^"]{40,}">', text)) == len(PLOTS)


def test_the_page_needs_nothing(page: Path) -> None:
    """No script, no style or picture from elsewhere, and a policy that forbids them."""
    text = page.read_text(encoding="utf-8")
    tags = _Tags(text)

    assert not {"script", "link", "img", "iframe", "object", "embed", "base", "form", "a"} & {*tags.names}
    assert not [name for name, _ in tags.attributes if name.startswith("on") or name == "src"]
    assert all(value.startswith("#") for name, value in tags.attributes if name.endswith("href"))
    assert POLICY.replace("'", "&#x27;") in text
    assert POLICY.startswith("default-src 'none'")


def test_ids_are_unique_and_references_lead_somewhere(stall_page: Path) -> None:
    """Several drawings stand in one page: their clips and marks must not be taken for each other's."""
    text = stall_page.read_text(encoding="utf-8")
    ids = _Tags(text).ids
    used = {*re.findall(r"url\(#([^)]+)\)", text), *re.findall(r'href="#([^"]+)"', text)}

    assert len(ids) == len({*ids})
    assert used
    assert used <= {*ids}
    assert text.count("<svg") == len(PLOTS) + 1


def test_colours_follow_the_page(page: Path) -> None:
    """Every colour of a drawing is a variable of the page's style, defined for light and for dark."""
    text = page.read_text(encoding="utf-8")
    drawings = "".join(re.findall(r"<svg.*?</svg>", text, flags=re.DOTALL))
    variables = {*re.findall(r"var\((--[a-z0-9]+)\)", text)}

    assert "var(--s1)" in drawings
    assert not re.findall(r"(?:fill|stroke): #[0-9a-f]{6}", drawings)
    assert [name for name in variables if text.count(f"{name}: #") != 2] == []


def test_a_browser_opens_it_in_peace(page: Path, tmp_path: Path) -> None:
    """A real browser shows all plots with lines in them, and has nothing to say on its console."""
    seen = opened(page, tmp_path)

    assert seen.console == ()
    assert seen.dom.count("<svg") == len(PLOTS)
    assert seen.dom.count("<path") > 30
    assert "First cause" in seen.dom


def test_the_browser_would_have_told(tmp_path: Path) -> None:
    """The test above can fail: a page that asks and complains is heard."""
    with trap() as (address, asked):
        loud = tmp_path / "loud.html"
        loud.write_text(f"<script>console.error('heard')</script><img src='{address}/asked'>", encoding="utf-8")
        seen = opened(loud, tmp_path)

    assert any("heard" in line for line in seen.console)
    assert "/asked" in asked


def test_dark_light_and_paper(page: Path, tmp_path: Path) -> None:
    """The page looks different on a dark screen, and can be printed."""
    light, dark = pictured(page, tmp_path), pictured(page, tmp_path, DARK)

    assert light[:_PNG_HEAD] == dark[:_PNG_HEAD] == b"\x89PNG\r\n\x1a\n"
    assert _mean(light) > 200
    assert _mean(dark) < 90
    assert printed(page, tmp_path).startswith(b"%PDF-")


def _mean(png: bytes) -> float:
    """Mean brightness of a picture, 0 to 255."""
    return float(imread(BytesIO(png))[..., :3].mean()) * 255.0


def test_markdown_tells_the_same(capsys: pytest.CaptureFixture[str], page: Path, tmp_path: Path) -> None:
    """Markdown has the page's sections and sentences, and writes no file."""
    before = {*tmp_path.iterdir()}
    assert main(["report", str(replay("link-drop-outs")), "--markdown"]) == DONE
    told, text = capsys.readouterr().out, page.read_text(encoding="utf-8")
    lead = re.search(r'<p class="lead">(.*?)</p>', text)

    assert lead is not None
    assert f"**{plain(lead[1])}**" in told
    headings = {*re.findall(r"^#+ (.*)$", told, flags=re.MULTILINE)}
    assert {plain(name) for name in SECTIONS} <= headings
    assert {*tmp_path.iterdir()} == before


def test_nothing_is_overwritten(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that is there is kept, unless --force; the recording itself always."""
    out = tmp_path / "there.html"
    out.write_text("mine", encoding="utf-8")
    recording = tmp_path / "night.jsonl.zst"
    recording.write_bytes(replay("run-out").read_bytes())
    words = ["report", str(recording), "--no-plots"]

    assert main([*words, "--html", str(out)]) == WRONG_USE
    assert "there already" in capsys.readouterr().err
    assert out.read_text(encoding="utf-8") == "mine"
    assert main([*words, "--html", str(recording), "--force"]) == WRONG_USE
    assert recording.read_bytes() == replay("run-out").read_bytes()
    assert main([*words, "--html", str(out), "--force"]) == DONE
    assert out.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert main(words) == DONE
    assert {path.name for path in tmp_path.iterdir()} == {"there.html", "night.jsonl.zst", "night.html"}


def test_a_folder_that_is_not_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A place that cannot be written is told in words."""
    out = tmp_path / "nowhere" / "out.html"

    assert main(["report", str(replay("run-out")), "--no-plots", "--html", str(out)]) == WRONG_USE
    assert "cannot be written" in capsys.readouterr().err


def test_without_matplotlib(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where the extra is missing the command says how to get it; --no-plots and --markdown do without."""
    find: Callable[..., object] = importlib.util.find_spec
    monkeypatch.setattr(
        "monitor.commands.report_run.find_spec", lambda name: None if name == "matplotlib" else find(name)
    )
    words = ["report", str(replay("run-out"))]
    out = tmp_path / "out.html"

    assert main([*words, "--html", str(out)]) == WRONG_USE
    assert "strandwatch[report]" in capsys.readouterr().err
    assert not out.exists()
    assert main([*words, "--html", str(out), "--no-plots"]) == DONE
    assert "<svg" not in out.read_text(encoding="utf-8")
    assert main([*words, "--markdown"]) == DONE


def test_requests_messages_and_seams_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What the owner asked, what became of a message, and for how long nobody watched stand in the report."""
    lines = zstandard.ZstdDecompressor().stream_reader(replay("run-out").read_bytes()).read().splitlines()[:-1]
    time_s, alert_id = 5_760.0, "stall/input 3/1"
    added: list[dict[str, object]] = [
        {"kind": "notification", "channel": "telephone", "event": "raised", "alert_id": alert_id}
        | {"priority": "ALARM", "repeat": 0, "outcome": "failed: no network"},
        {"kind": "acknowledge", "alert_id": alert_id, "actor": "terminal"},
        {"kind": "end", "reason": "stopped"},
        {"kind": "resumed", "wall": "2026-01-01T00:00:00Z", "gap_s": 600.0, "reason": "started anew"},
    ]
    path = tmp_path / "asked.jsonl"
    path.write_bytes(b"\n".join([*lines, *(json.dumps({"time_s": time_s, **line}).encode() for line in added)]) + b"\n")

    assert main(["report", str(path), "--markdown"]) == DONE
    told = capsys.readouterr().out
    assert "| 01:36:00" in told
    assert "failed: no network" in told
    assert "| seen | stall/input 3/1 | terminal |" in told
    assert "Somebody had seen it at 01:36:00" in told
    assert "nobody had watched for 10 min" in told
    assert "no end line: the watch was cut off" in told
