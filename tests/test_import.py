"""`import`: files from elsewhere become ordinary recordings, and what was not understood is named."""

import csv
import io
import json
from collections.abc import Callable
from contextlib import suppress
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from connectors.errors import RecordingError
from connectors.recording import Conclusion, Encoder, read_recording
from connectors.telemetry import Event, LinkChange, Sample
from monitor.cli import main
from monitor.config import demo_profile, load_profile, parse_profile
from monitor.core.engine import run
from monitor.every import Every
from monitor.exit_codes import DONE, WrongUseError
from monitor.importing.import_map import ImportMap, LineMarks
from monitor.importing.reading import make_reader
from monitor.importing.source_file import Line
from monitor.profile.link_mapping import Link
from tests.import_examples import (
    PROFILE_TEXT,
    SERIAL_LINK,
    WEBSOCKET_LINK,
    imported,
    messages,
    profile_file,
    serial_log,
    told,
)
from tests.recording_examples import HEADER, validator

HOURS = 0.8

TABLE_MAP = """
separator = ";"
decimal = ","
[time]
column = "Zeit"
unit = "min"
[columns."block °F"]
channel = "temp_c:manifold"
unit = "°F"
[columns.tip]
channel = "temp_c:nozzle"
[columns.cold]
channel = "temp_c:cold_end"
[columns."goal"]
channel = "set_c:manifold"
[execution]
column = "state"
words = { laying = "ACTIVE" }
""" + "".join(
    f'[columns."drive {number}"]\nchannel = "fed_mm:{number}"\nunit = "cm"\ncounts = "since the row before"\n'
    for number in range(1, 7)
)


def _comma(value: float) -> str:
    return f"{value:.6f}".replace(".", ",")


def _table(samples: list[Sample]) -> bytes:
    """The samples as a table in minutes, °F and centimetres, with decimal commas."""
    out = io.StringIO()
    rows = csv.writer(out, delimiter=";")
    drives = [f"drive {number}" for number in range(1, 7)]
    rows.writerow(["Zeit", "block °F", "tip", "cold", "goal", *drives, "state", "remark"])
    before: dict[str, float] = {}
    for sample in samples:
        values = sample.values
        fed = [values[f"fed_mm:{number}"] - before.get(f"fed_mm:{number}", 0.0) for number in range(1, 7)]
        before = dict(values)
        heat = [values["temp_c:manifold"] * 1.8 + 32, values["temp_c:nozzle"], values["temp_c:cold_end"]]
        row = [sample.time_s / 60, *heat, values["set_c:manifold"], *(mm / 10 for mm in fed)]
        rows.writerow([*map(_comma, row), "laying", "=1+1"])
    return out.getvalue().encode()


def _highest_dose_min(path: Path) -> dict[int, float]:
    """Highest dose of each strand in the assessments of a recording, which are a minute apart."""
    rows = [
        (row["input"], row["dose_now_min"])
        for item in read_recording(path).items()
        if isinstance(item, Conclusion) and item.kind == "assessment"
        for row in item.data["strands"]
    ]
    return {number: max(dose for at, dose in rows if at == number) for number, _ in rows}


@cache
def _judged_dose_min(hours: float) -> dict[int, float]:
    """The same of the simulated machine's own samples, judged without any file between."""
    samples = told(hours)
    events: list[Event] = [LinkChange(samples[0].time_s, available=True, reason="it begins"), *samples]
    highest: dict[int, float] = {}
    due = Every(60.0)
    for step in run(events, demo_profile().parameters):
        if due(step.event.time_s - samples[0].time_s):
            for strand in step.assessment.strands:
                highest[strand.input] = max(highest.get(strand.input, 0.0), strand.dose_now_min)
    return highest


_KINDS = ("csv", "serial", "websocket")
_PIECES = (
    *(
        b"\n",
        b",",
        b'"',
        b"time_s,temp_c:manifold,fed_mm:1,execution\n",
        b"1,195,2,ACTIVE\n",
        b"1e9,",
        b"nan",
        b"-1e308",
    ),
    *(b"T0:195.0 /195.0 @:64\n", b"E0:1.5 ", b"start\n", b"[1.5] ", b"23:59:59 ", b"2026-11-25T22:00:00Z "),
    *(b'{"id": 1, "result": {"state": {"heat": {"manifold": {"now": 1e400}}}}}\n', b"[" * 3000, b"\xff\x00"),
)


CASES: dict[str, tuple[str, Callable[[list[Sample]], bytes], str, list[str]]] = {
    "table": ("night.csv", _table, "", ["--map", "map.toml"]),
    "serial, seconds": ("night.log", lambda it: serial_log(it, lambda s: f"[{s:12.3f}] "), SERIAL_LINK, []),
    "serial, time of day over midnight": (
        "night.log",
        lambda it: serial_log(
            it, lambda s: f"{int(23.5 + s / 3600) % 24:02d}:{int(30 + s / 60) % 60:02d}:{s % 60:06.3f} "
        ),
        SERIAL_LINK,
        ["--start", "2026-11-25T23:30:00+01:00"],
    ),
    "websocket, ISO 8601": (
        "night.txt",
        lambda it: messages(
            it, lambda s: f"2026-11-25T{10 + int(s / 3600):02d}:{int(s / 60) % 60:02d}:{s % 60:06.3f}Z "
        ),
        WEBSOCKET_LINK,
        [],
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_a_foreign_file_is_judged_as_the_machine_itself(
    case: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """48 minutes in each form lead to the doses that the samples themselves lead to, and a replay agrees with it."""
    name, written, link, options = CASES[case]
    monkeypatch.chdir(tmp_path)
    samples = told(HOURS)
    Path(name).write_bytes(written(samples))
    Path("map.toml").write_text(TABLE_MAP, encoding="utf-8")
    words = [name, "--profile", profile_file(tmp_path, link), *options, "--out", "out.jsonl"]
    assert imported(words) == DONE
    shown = capsys.readouterr().out
    assert "temp_c:manifold" in shown
    assert "not understood:" not in shown

    found, expected = _highest_dose_min(Path("out.jsonl")), _judged_dose_min(HOURS)
    assert max(expected.values()) > 5.0
    for number, dose_min in expected.items():  # numbers on a wire are rounded
        assert found[number] == pytest.approx(dose_min, rel=0.02, abs=0.2)

    for at, line in enumerate(Path("out.jsonl").read_text(encoding="utf-8").splitlines()):
        validator("line" if at else "header").validate(json.loads(line))
    assert main(["replay", "out.jsonl", "--headless"]) == DONE
    assert "differ" not in capsys.readouterr().out


def test_stamps_are_needed_or_a_spacing(tmp_path: Path) -> None:
    """A log without time stamps is refused until the owner says how far apart its lines are."""
    path = tmp_path / "night.log"
    path.write_bytes(serial_log(told(0.05), lambda _: ""))
    words = [path, "--profile", profile_file(tmp_path, SERIAL_LINK)]
    with pytest.raises(WrongUseError, match="no time stamps"):
        imported(words)
    assert imported([*words, "--spacing", "0.5", "--out", tmp_path / "out.jsonl"]) == DONE
    times = [item.time_s for item in read_recording(tmp_path / "out.jsonl").items() if isinstance(item, Sample)]
    assert {round(after - before, 9) for before, after in pairwise(times)} <= {0.5, 1.0, 1.5}


def test_only_lines_of_the_machine_count(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With marks of who spoke, what was sent to the machine is passed over and counted."""
    lines = [b"0.0 < T0:190.0 /195.0", b"0.5 > M105", b"1.0 < T0:190.1 /195.0", b"1.5 < T0:190.2 /195.0"]
    path = tmp_path / "night.log"
    path.write_bytes(b"\n".join(lines))
    (tmp_path / "map.toml").write_text('[lines]\nreceived = "< "\nsent = "> "\n')
    words = [path, "--profile", profile_file(tmp_path, SERIAL_LINK), "--map", tmp_path / "map.toml"]
    assert imported(words) == DONE
    shown = capsys.readouterr().out
    assert "passed over because the machine did not speak them: 1" in shown
    assert "not understood:" not in shown


def test_without_out_nothing_is_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The preview names channels, span, rate, first values and what is missing, and leaves the folder as it was."""
    path = tmp_path / "night.csv"
    path.write_text(
        "time_s,temp_c:manifold,fed_mm:1,remark\n0,190.5,0,x\n1,191,1,x\n2,nonsense,2,x\n3,9e99,3,x\n2,1,1,x\n"
    )
    profile = profile_file(tmp_path)
    before = sorted(tmp_path.iterdir())
    assert imported([path, "--profile", profile]) == DONE
    shown = capsys.readouterr().out
    assert sorted(tmp_path.iterdir()) == before
    for part in (
        "4 samples over 3 s, one every 1 s (median)",
        "temp_c:manifold  2 values, 190.5 to 191 °C; first 190.5, 191",
        "columns not used: 'remark'",
        "missing: temperature of cold_end, nozzle",
        "missing: feed of input 2, 3, 4, 5, 6",
        "missing: set points at",
        "missing: the program's state",
        "1 × temp_c:manifold: a cell that is no number; first in line 4",
        "1 × temp_c:manifold: out of range; first in line 5",
        "1 × a time before that of the row before; first in line 6",
    ):
        assert part in shown, part


def test_a_recording_is_never_overwritten(tmp_path: Path) -> None:
    """An output that exists already is refused and left as it is."""
    path, out = tmp_path / "night.csv", tmp_path / "out.jsonl"
    path.write_text("time_s,temp_c:manifold\n0,190\n")
    out.write_text("mine")
    with pytest.raises(RecordingError, match="exists already"):
        imported([path, "--profile", profile_file(tmp_path), "--out", out])
    assert out.read_text() == "mine"


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "empty"),
        (b"a,b\n1,2\n", "no column of times"),
        (b"time_s,b\n1,2\n", "none of the columns is a channel"),
        (b"time_s,time_s,temp_c:m\n1,2,3\n", "more than one column is called 'time_s'"),
        (",".join(f"c{n}" for n in range(100_000)).encode(), "100000 columns; allowed: at most 2000"),
        (",".join(f"c{n}" for n in range(1_000_000)).encode(), "longer than 1 MiB"),
        (b"\xff\xfet\0i\0", "UTF-16"),
        (b"\x1f\x8b\x08\0", "packed"),
        (b'time_s,"temp_c:m\n1,2\n', "not a row of a table"),
        (b"time_s,temp_c:manifold\n\0\0\0\nxx,1\n", "nothing in it could be understood"),
    ],
)
def test_hostile_tables_are_refused_in_words(content: bytes, message: str, tmp_path: Path) -> None:
    """Tables that cannot be read are named, quickly, whatever their size."""
    path = tmp_path / "night.csv"
    path.write_bytes(content)
    with pytest.raises(WrongUseError, match=message):
        imported([path, "--profile", profile_file(tmp_path)])


def test_nothing_of_a_file_reaches_the_terminal_raw(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Escape sequences in headings, cells and states come out visible; a huge number is a complaint, no value."""
    path = tmp_path / "night.csv"
    rows = [
        "time_s,temp_c:manifold,fed_mm:1,execution,\x1b]0;x\x07",
        "0,195,0,\x1b[2J,=cmd",
        "1,1e308,1e308,ACTIVE,",
        '2,"\x1b[31m",0,,',
        "1e300,195,0,,",
        "3,195,0,,,,,,",
    ]
    path.write_text("\n".join(rows), encoding="utf-8")
    out = tmp_path / "out.jsonl"
    assert imported([path, "--profile", profile_file(tmp_path), "--out", out]) == DONE
    shown = capsys.readouterr().out
    assert "\x1b" not in shown
    assert "␛" in shown
    assert "more than a year after" in shown
    assert "more cells than headings" in shown
    assert "\x1b" not in out.read_text(encoding="utf-8")


@pytest.mark.parametrize("link", [SERIAL_LINK, WEBSOCKET_LINK], ids=["serial", "websocket"])
def test_garbage_logs_end_in_words(link: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Random bytes are counted as not understood; no reader fails of them, and nothing raw is shown."""
    path = tmp_path / "night.log"
    garbage = bytes((7 * n * n + n // 3) % 256 for n in range(60_000))
    path.write_bytes(b"0.0 " + garbage.replace(b"\n", b"\n1.0 ") + b"\x1b[2J" + b"x" * (3 << 20))
    with pytest.raises(WrongUseError, match="nothing in it could be understood"):
        imported([path, "--profile", profile_file(tmp_path, link), "--spacing", "1"])
    shown = capsys.readouterr().out
    assert "not understood" in shown
    assert "\x1b" not in shown


def test_faults_of_a_map_are_told_together(tmp_path: Path) -> None:
    """Every fault of a map is named with its key."""
    path = tmp_path / "night.csv"
    path.write_text("t\n0\n")
    map_file = tmp_path / "map.toml"
    map_file.write_text(
        '[time]\nunit = "fortnight"\n[columns.a]\nchannel = "warmth"\n[columns.b]\nchannel = "fed_mm:x"\n'
    )
    with pytest.raises(WrongUseError) as caught:
        imported([path, "--profile", profile_file(tmp_path), "--map", map_file])
    for part in (
        "time.unit",
        "columns.a.channel",
        "is no channel",
        "columns.b.channel",
        "needs the number of an input",
    ):
        assert part in str(caught.value)


def test_a_counter_that_begins_anew_takes_nothing_back(tmp_path: Path) -> None:
    """A total that falls to zero is re-based once the next row confirms it, as on a live link."""
    path, out = tmp_path / "night.csv", tmp_path / "out.jsonl"
    fed = [500.0, 510.0, 520.0, 0.0, 10.0, 20.0]
    path.write_text("time_s,fed_mm:1\n" + "".join(f"{at},{mm}\n" for at, mm in enumerate(fed)))
    assert imported([path, "--profile", profile_file(tmp_path), "--out", out]) == DONE
    seen = [item.values.get("fed_mm:1") for item in read_recording(out).items() if isinstance(item, Sample)]
    assert seen == [0.0, 10.0, 20.0, None, 30.0, 40.0]


def test_the_profile_of_the_examples_is_sound(tmp_path: Path) -> None:
    """Both links of the examples load."""
    for link, kind in ((SERIAL_LINK, "serial"), (WEBSOCKET_LINK, "websocket")):
        loaded = load_profile(profile_file(tmp_path, link))
        assert loaded.link is not None
        assert loaded.link.kind == kind


def test_a_restart_at_the_beginning_is_nobodys_fault(tmp_path: Path) -> None:
    """A start banner in a log's first seconds is a restart, and not said to come of our opening a port."""
    path, out = tmp_path / "night.log", tmp_path / "out.jsonl"
    path.write_bytes(b"0.0 start\n1.0 T0:190.0 /195.0\n0.8 T0:190.1 /195.0\n2.0 T0:190.1 /195.0\n")
    assert imported([path, "--profile", profile_file(tmp_path, SERIAL_LINK), "--out", out]) == DONE
    text = out.read_text(encoding="utf-8")
    assert "the controller restarted" in text
    assert "OPENING THIS PORT" not in text
    times = [item.time_s for item in read_recording(out).items() if isinstance(item, Sample)]
    assert times == sorted(times)  # the line that a logger wrote a little late kept its place


@given(st.lists(st.binary(max_size=80) | st.sampled_from(_PIECES), max_size=12).map(b"".join), st.sampled_from(_KINDS))
def test_no_reader_fails_of_what_a_file_says(content: bytes, kind: str) -> None:
    """Whatever the bytes: events in order of time with finite values that can be recorded, or words."""
    link = {"csv": "", "serial": SERIAL_LINK, "websocket": WEBSOCKET_LINK}[kind]
    lines = [Line(number, line) for number, line in enumerate(content.split(b"\n"), 1)]
    reader = make_reader(kind, ImportMap(lines=LineMarks(spacing_s=1.0)), _parsed(link))
    encoder, last_s = Encoder(HEADER), 0.0
    with suppress(WrongUseError):
        for _, event in reader.events(lines):
            assert event.time_s >= last_s
            last_s = event.time_s
            assert all(line.endswith(b"\n") for line in encoder.encode(event).splitlines(keepends=True))


@cache
def _parsed(link: str) -> Link | None:
    return parse_profile(PROFILE_TEXT + link, "test.toml").link
