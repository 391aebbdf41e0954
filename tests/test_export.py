"""`export`: recordings as tables and metrics that other programs read back as they were."""

import argparse
import csv
import importlib
import math
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest

from connectors.recording import read_recording
from connectors.telemetry import Execution, Sample
from monitor.commands import export
from monitor.config import demo_profile
from monitor.core.engine import run
from monitor.exit_codes import DONE, WrongUseError
from monitor.exporting import parquet_tables
from monitor.exporting.csv_tables import safe_cell
from tests.archive_examples import header, night, write
from tests.import_examples import imported, profile_file

MINUTES = 6


def exported(words: Iterable[object]) -> int:
    """Run `export` alone, without the rest of the command line."""
    parser = argparse.ArgumentParser()
    export.add_parser(parser.add_subparsers())
    arguments = parser.parse_args(["export", *map(str, words)])
    status: int = arguments.run(arguments)
    return status


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    """Six minutes of a manifold that is too hot, so that there is an alert."""
    return write(tmp_path / "hot.jsonl", header(demo_profile(), "garage six"), night(MINUTES, manifold_c=240.0))


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_csv_holds_samples_doses_and_alerts(recording: Path, tmp_path: Path) -> None:
    """Every sample is there to the last digit, a dose for each strand and minute, and each change of an alert."""
    assert exported([recording, "--csv", tmp_path / "out"]) == DONE
    told = [item for item in read_recording(recording).items() if isinstance(item, Sample)]
    samples = _rows(tmp_path / "out" / "samples.csv")
    assert [float(row["time_s"]) for row in samples] == [sample.time_s for sample in told]
    for row, sample in zip(samples, told, strict=True):
        assert {name: float(row[name]) for name in sample.values} == sample.values
        assert row["execution"] == sample.execution
    doses = _rows(tmp_path / "out" / "doses.csv")
    assert len(doses) == 6 * MINUTES
    steps = {
        step.event.time_s: step.assessment for step in run(night(MINUTES, manifold_c=240.0), demo_profile().parameters)
    }
    for row in doses:
        strand = next(it for it in steps[float(row["time_s"])].strands if it.input == int(row["input"]))
        assert float(row["dose_min"]) == pytest.approx(strand.dose_now_min, rel=1e-12)
        assert row["material"] == strand.material
    (alert, *_) = _rows(tmp_path / "out" / "alerts.csv")
    assert (alert["event"], alert["condition"], alert["priority"]) == ("raised", "ceiling", "ALARM")


def test_exported_samples_can_be_imported_again(recording: Path, tmp_path: Path) -> None:
    """The table of samples needs no map: what comes back are the same samples, feed counted from its first row."""
    exported([recording, "--csv", tmp_path / "out"])
    words = [tmp_path / "out" / "samples.csv", "--profile", profile_file(tmp_path), "--out", tmp_path / "again.jsonl"]
    assert imported(words) == DONE
    first, again = (
        [
            (item.time_s, dict(item.values), item.execution)
            for item in read_recording(path).items()
            if isinstance(item, Sample)
        ]
        for path in (recording, tmp_path / "again.jsonl")
    )
    assert again == first


def test_text_never_begins_a_formula(tmp_path: Path) -> None:
    """Text that a spreadsheet could take for a formula gets an apostrophe; numbers stay numbers."""
    for text in ("=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "  =1", "＝1", "−".replace("−", "－") + "1"):
        assert str(safe_cell(text)).startswith("'")
    for cell in ("input 3", "", None, -1.5, 3, "a=b", "'x"):
        assert safe_cell(cell) == cell
    profile = demo_profile()
    table = dict(profile.table) | {"name": "=HYPERLINK(1)"}
    table["strands"] = [dict(row) | {"label": "=cmd|x"} for row in table["strands"]]
    odd = Sample(0.0, {"temp_c:manifold": 195.0, "=1+1": 2.0, "time_s": 3.0}, Execution.ACTIVE)
    head = replace(header(profile, "x"), profile=table)
    exported([write(tmp_path / "odd.jsonl", head, [odd, *night(2)]), "--csv", tmp_path / "out"])
    for path in (tmp_path / "out").iterdir():
        with path.open(encoding="utf-8", newline="") as file:
            cells = [cell for row in csv.reader(file) for cell in row]
        assert cells
        assert not [cell for cell in cells if cell.startswith(("=", "+", "@"))]
    assert "'=cmd|x" in (tmp_path / "out" / "doses.csv").read_text(encoding="utf-8")


def test_nothing_is_overwritten_and_nothing_is_left_half_done(recording: Path, tmp_path: Path) -> None:
    """Where a file stands already nothing is touched, and tables begun are gone again."""
    out = tmp_path / "out"
    out.mkdir()
    (out / "alerts.csv").write_text("mine")
    with pytest.raises(WrongUseError, match="nothing is overwritten"):
        exported([recording, "--csv", out])
    assert {path.name: path.read_text() for path in out.iterdir()} == {"alerts.csv": "mine"}
    with pytest.raises(WrongUseError, match="say what to write"):
        exported([recording])
    (tmp_path / "state").write_text("mine")
    with pytest.raises(WrongUseError, match="cannot be written"):
        exported([recording, "--openmetrics", tmp_path / "state"])


def test_without_its_library_parquet_says_how_to_get_it(
    recording: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The message names the extra, and nothing is written."""

    def missing(name: str) -> ModuleType:
        raise ImportError(name)

    monkeypatch.setattr(parquet_tables, "import_module", missing)
    with pytest.raises(WrongUseError, match=r"strandwatch\[parquet\]"):
        exported([recording, "--parquet", tmp_path / "out"])
    assert not (tmp_path / "out").exists()


def test_parquet_is_read_back_by_another_library(
    recording: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """DuckDB, which does not build on the writer's library, reads types, rows and values as the CSV has them."""
    duckdb = importlib.import_module("duckdb")
    monkeypatch.setattr(parquet_tables, "ROWS_AT_ONCE", 25)  # several row groups
    assert exported([recording, "--csv", tmp_path / "csv", "--parquet", tmp_path / "parquet"]) == DONE
    for name in ("samples", "doses", "alerts"):
        found = duckdb.read_parquet(str(tmp_path / "parquet" / f"{name}.parquet"))
        rows = _rows(tmp_path / "csv" / f"{name}.csv")
        assert found.columns == list(rows[0])
        types = dict(zip(found.columns, map(str, found.types), strict=True))
        assert types["time_s"] == "DOUBLE"
        for read, row in zip(found.fetchall(), rows, strict=True):
            for value, (column, cell) in zip(read, row.items(), strict=True):
                same = value == float(cell) if isinstance(value, float | int) else value == cell.removeprefix("'")
                assert same or (value is None and not cell), (name, column)


def test_metrics_are_read_by_the_reference_parser(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The OpenMetrics parser of prometheus_client takes the text, units and stamps; odd names come through whole."""
    parser = importlib.import_module("prometheus_client.openmetrics.parser")
    profile = demo_profile()
    odd = 'a "quoted" \\ back\\slash {x="y"}'
    head = header(profile, odd)
    path = write(tmp_path / "hot.jsonl", head, night(MINUTES, manifold_c=240.0))
    assert exported([path, "--openmetrics", "-"]) == DONE
    families = {family.name: family for family in parser.text_string_to_metric_families(capsys.readouterr().out)}
    assert families["strandwatch_recording"].samples[0].labels["machine"] == odd
    last = None
    for step in run(night(MINUTES, manifold_c=240.0), profile.parameters):
        last = step.assessment
    assert last is not None
    doses = families["strandwatch_strand_dose_seconds"]
    assert doses.unit == "seconds"
    found = {int(sample.labels["input"]): sample.value for sample in doses.samples}
    assert found == pytest.approx({strand.input: strand.dose_now_min * 60.0 for strand in last.strands})
    assert float(doses.samples[0].timestamp) == pytest.approx(head.start.timestamp() + last.time_s, abs=1e-3)
    alarms = [sample for sample in families["strandwatch_alerts"].samples if sample.labels["priority"] == "ALARM"]
    assert alarms[0].value == 1.0
    active = [sample for sample in families["strandwatch_execution"].samples if sample.value == 1.0]
    assert [sample.labels["strandwatch_execution"] for sample in active] == ["ACTIVE"]
    assert all(name.endswith(family.unit) for name, family in families.items())
    assert not [sample for family in families.values() for sample in family.samples if math.isnan(sample.value)]


def test_metrics_of_a_hostile_recording_keep_their_lines(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Line ends and escapes in names cannot begin a line of their own."""
    head = header(demo_profile(), 'x\n# EOF\nstrandwatch_fake 1\x1b[2J"')
    path = write(tmp_path / "odd.jsonl", replace(head, source="a\nb"), night(2))
    exported([path, "--openmetrics", "-"])
    shown = capsys.readouterr().out
    assert "\x1b" not in shown
    assert shown.count("\n# EOF") == 1
    assert "\nstrandwatch_fake" not in shown
