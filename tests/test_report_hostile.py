"""Recordings that are cut off, foreign or hostile: a clear error, or a page that shows them safely."""

import gzip
import json
import re
from collections.abc import Callable
from pathlib import Path
from random import Random

import pytest
import zstandard

from connectors.recording import read_recording
from monitor.cli import main
from monitor.exit_codes import DONE, WRONG_USE
from monitor.report.reading import LONGEST_JUMP_S
from monitor.report.rows import MOST_ROWS, Row, Rows, WallPoint
from tests.browser import opened, trap
from tests.report_examples import judged, replay

ESCAPES = "\x1b]0;owned\x07\x1b[31m\u202e"


def _lines(name: str = "run-out") -> list[bytes]:
    raw = zstandard.ZstdDecompressor().stream_reader(replay(name).read_bytes()).read()
    return raw.splitlines(keepends=True)


def _line(kind: str, time_s: float, **data: object) -> bytes:
    return json.dumps({"kind": kind, "time_s": time_s, **data}).encode() + b"\n"


def _hostile(path: Path, address: str) -> Path:
    """A recording whose every name and text tries to break out, with numbers and shapes that cannot be."""
    picture = f"<img src='{address}/x' onerror='fetch(\"{address}/y\")'>"
    evil = f"</td></title><script>console.error(1)</script>{picture}{ESCAPES}"
    lines = _lines()
    header = json.loads(lines[0])
    header |= {"machine": evil, "source": evil, "program": evil}
    for strand in header["profile"]["strands"]:
        strand |= {"label": f"$\\frac{{1}}{{0}}$ {evil}"[:150], "lot": evil[:150]}
    columns = len(header["columns"])
    time_s = json.loads(lines[1_000])["time_s"] if lines[1_000].startswith(b"{") else json.loads(lines[1_000])[0]
    added = [
        json.dumps([time_s, "ACTIVE", *[1e300] * (columns - 2)]).encode() + b"\n",
        b"[1e308]\n",
        b"[-1e308]\n",
        b"[" * 100_000 + b"\n",
        b'{"kind":"fault","time_s":' + b"9" * 400 + b',"text":"x"}\n',
        b'{"kind":"fault","time_s":1,"text":' + b'{"a":' * 5_000 + b"1" + b"}" * 5_000 + b"}\n",
        _line("malformed", time_s, reason=evil, excerpt=evil),
        _line("fault", time_s, text=evil, trace=evil),
        _line("gap", time_s, lines_lost=evil, reason=evil),
        _line("resumed", time_s, wall=evil, gap_s=1e300, reason=evil),
        _line("clock", time_s, wall="9999-12-31T23:59:59Z"),
        _line("notification", time_s, channel=evil, event=evil, alert_id=evil, priority=[evil], repeat=0, outcome=evil),
        _line("request", time_s, ask="shelve", alert_id=evil, actor=evil, reason=evil, for_s=60.0),
        _line("acknowledge", time_s, alert_id={"a": evil}, actor=evil),
        _line("link", time_s, available=True, reason=evil),
        *[_line("notification", time_s, channel=f"{n}", outcome="accepted") for n in range(1_000)],
    ]
    path.write_bytes(b"".join([json.dumps(header).encode() + b"\n", *lines[1:1_000], *added, *lines[1_000:]]))
    return path


def test_a_hostile_recording_is_shown_safely(tmp_path: Path) -> None:
    """HTML in names stays text, in a real browser too: nothing runs, nothing is fetched, and the report still tells."""
    with trap() as (address, asked):
        path, out = _hostile(tmp_path / "evil.jsonl", address), tmp_path / "evil.html"
        assert main(["report", str(path), "--html", str(out)]) == DONE
        text = out.read_text(encoding="utf-8")
        assert "<script" not in text
        assert "<img" not in text
        assert "&lt;script&gt;" in text
        assert not re.search("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e]", text)
        assert text.count("<svg") >= 3
        seen = opened(out, tmp_path)
        assert seen.console == ()
        assert asked == []
    assert "left out:" in text
    assert "run out" in seen.dom


def test_a_hostile_recording_as_markdown(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No tag and no control character reaches the terminal or a reader of Markdown; tables keep their columns."""
    path = _hostile(tmp_path / "evil.jsonl", "http://127.0.0.1:9")
    assert main(["report", str(path), "--markdown"]) == DONE
    told = capsys.readouterr().out

    assert not re.search(r"(?<!\\)<", told)
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e]", told)
    for table in re.findall(r"(?:^\|.*\n)+", told, flags=re.MULTILINE):
        assert len({len(re.findall(r"(?<!\\)\|", row)) for row in table.splitlines()}) == 1


def test_hostile_numbers_do_not_change_the_cause(tmp_path: Path) -> None:
    """What cannot be is left out: the run-out is found as in the honest recording."""
    honest = judged(read_recording(replay("run-out"))).findings.explanations[0]
    path = _hostile(tmp_path / "evil.jsonl", "http://127.0.0.1:9")
    evil = judged(read_recording(path)).findings.explanations[0]

    assert (evil.cause, evil.subject, evil.began_s) == (honest.cause, honest.subject, honest.began_s)


def test_a_cut_off_recording_is_told_as_far_as_it_goes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A torn last line is the end of a watch that was cut off: the report says so, and tells the rest."""
    path = tmp_path / "cut.jsonl"
    path.write_bytes(b"".join(_lines())[:-40])

    assert main(["report", str(path), "--markdown"]) == DONE
    told = capsys.readouterr().out
    assert "the last line is incomplete" in told
    assert "no end line: the watch was cut off" in told
    assert "strand run out" in told


@pytest.mark.parametrize(
    ("pack", "ending", "words"),
    [
        (gzip.compress, ".gz", "READING ENDED BEFORE THE END OF THE FILE"),
        (zstandard.ZstdCompressor().compress, ".zst", "no end line: the watch was cut off"),
    ],
)
def test_a_packed_recording_that_breaks_off(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], pack: Callable[[bytes], bytes], ending: str, words: str
) -> None:
    """A compressed file that was copied in part: told up to there, and that it breaks off."""
    path = tmp_path / f"cut.jsonl{ending}"
    raw = pack(b"".join(_lines()))
    path.write_bytes(raw[: len(raw) // 2])

    assert main(["report", str(path), "--markdown"]) == DONE
    assert words in capsys.readouterr().out


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty"),
        (b'{"hello": 1}\n', "is not a recording"),
        (b"\x89PNG\r\n\x1a\n" + bytes(300), "is not a recording"),
        (b"[" * 200_000, "is not a recording"),
        (b'{"format":"strandwatch recording","version":9}\n', "newer"),
    ],
)
def test_foreign_files(tmp_path: Path, capsys: pytest.CaptureFixture[str], content: bytes, words: str) -> None:
    """A file of another kind is refused in one message, with no trace of the program's inside, and no page is made."""
    path = tmp_path / "foreign.jsonl"
    path.write_bytes(content)

    assert main(["report", str(path)]) == WRONG_USE
    told = capsys.readouterr().err
    assert words in told
    assert "Traceback" not in told
    assert [*tmp_path.iterdir()] == [path]


def test_a_recording_without_samples(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A watch that never heard anything has a report that says so, with a page as well."""
    path, out = tmp_path / "silent.jsonl", tmp_path / "silent.html"
    path.write_bytes(_lines()[0] + _line("end", 3.0, reason="stopped"))

    assert main(["report", str(path), "--html", str(out)]) == DONE
    assert "The machine reported nothing" in out.read_text(encoding="utf-8")
    assert main(["report", str(path), "--markdown"]) == DONE
    assert "The machine reported nothing" in capsys.readouterr().out


def test_a_recording_without_temperatures(tmp_path: Path) -> None:
    """Where no sensor was ever reported the other plots are drawn all the same."""
    path, out = tmp_path / "cold.jsonl", tmp_path / "cold.html"
    path.write_bytes(b"".join(_lines()[:600]).replace(b'"temp_c:', b'"set_c:x'))  # a channel that no sensor has

    assert main(["report", str(path), "--html", str(out)]) == DONE
    text = out.read_text(encoding="utf-8")
    assert ">Heat dose<" in text
    assert ">Temperatures<" not in text


@pytest.mark.parametrize("seed", range(16))
def test_any_damage_is_survived(tmp_path: Path, seed: int) -> None:
    """Bytes changed, lost and put in at random: a report or a refusal, never a fault of the program."""
    random = Random(seed)  # noqa: S311 -- nothing to be kept secret
    lines = _lines()
    raw = bytearray(b"".join([*lines[:400], *lines[2_300:2_600]]))
    first = 0 if seed % 4 == 0 else len(lines[0])
    for _ in range(random.choice((1, 5, 50, 500))):
        at = random.randrange(first, len(raw))
        put_in = bytes(random.choices(b'0123456789eE.-+,[]{}"nultrfas<>&\n\x1b', k=random.randrange(8)))
        raw[at : at + random.randrange(20)] = put_in
    path = tmp_path / "damaged.jsonl"
    path.write_bytes(raw)

    assert main(["report", str(path), "--markdown"]) in {DONE, WRONG_USE}


def test_a_start_in_the_last_year_there_is(tmp_path: Path) -> None:
    """Times of day beyond the calendar are told to be unknown; they end nothing."""
    header = json.loads(_lines()[0])
    header["start"] = "9999-12-31T23:59:00Z"
    path = tmp_path / "late.jsonl"
    path.write_bytes(json.dumps(header).encode() + b"\n" + b"".join(_lines()[1:400]))

    assert main(["report", str(path), "--no-plots"]) == DONE


def test_rows_are_bounded_and_lose_no_peak() -> None:
    """However long a watch is, so many rows are kept; the hottest reading survives all thinning."""
    rows = Rows(60.0)
    for place in range(20 * MOST_ROWS):
        temp_c = 300.0 if place == 777 else 200.0
        rows.add(
            Row(time_s=60.0 * place, is_fresh=True, walls=(WallPoint(temp_c, temp_c, temp_c, None, None),), strands=())
        )

    kept = rows.rows
    assert len(kept) <= MOST_ROWS
    assert max(row.walls[0].high_c for row in kept if row.walls[0] is not None) == 300.0
    assert [row.time_s for row in kept] == sorted(row.time_s for row in kept)


def test_rows_are_bounded_whatever_the_times() -> None:
    """Jumps of a month between rows, which no honest watch has, do not get around the bound."""
    rows = Rows(60.0)
    for place in range(3 * MOST_ROWS):
        rows.add(Row(time_s=LONGEST_JUMP_S * place, is_fresh=True, walls=(), strands=()))

    assert len(rows.rows) <= MOST_ROWS
