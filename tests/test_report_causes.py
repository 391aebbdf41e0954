"""The first cause that a report names, and its time, for every fault that the simulated machine knows.

The machine's own truth (`simulated_scenarios`, `make_replays`) is the reference: when the fault began, and where.
"""

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
import zstandard

from connectors.recording import read_recording
from connectors.simulated_scenarios import SCENARIOS, Severity, of_severity
from connectors.telemetry import Sample
from monitor.core.alert_types import Priority
from monitor.report.blocks import Words
from monitor.report.cause_types import Cause, Evidence, Sureness, sureness, total_weight
from monitor.report.causes import find_causes, is_open
from monitor.report.incidents import Incident
from monitor.report.summary_blocks import summary_blocks, unseen_inputs
from monitor.report.times import Times
from tests.make_replays import TAKES, Take, record
from tests.report_examples import Changed, Judged, judged, night, replay, samples_changed, without_channels

FIRST_CAUSES = {
    # cause, subject, earliest and latest time at which it may be said to begin, latest time at which it may show [s]
    "left-idle": (Cause.AGED, "input 4", 600.0, 1_800.0, 24_000.0),  # last used in the first half hour
    "cold-manifold": (Cause.COLD_MANIFOLD, "manifold", 9_000.0, 9_010.0, 9_300.0),
    "link-drop-outs": (Cause.DATA_GAP, "link", 6_990.0, 7_005.0, 7_100.0),
    "jam-after-idle": (Cause.JAM_AFTER_IDLE, "input 5", 1_800.0, 2_700.0, 7_400.0),  # not used from 2400 on
    "grinding": (Cause.GRINDING, "input 2", 4_500.0, 4_700.0, 4_800.0),
    "slow-clog": (Cause.CLOG, "input 1", 3_600.0, 5_000.0, 5_500.0),
    "run-out": (Cause.RUN_OUT, "input 3", 4_500.0, 4_800.0, 4_900.0),
    "tangle": (Cause.TANGLE, "input 2", 4_500.0, 4_700.0, 4_800.0),
}


def test_every_recording_has_its_truth() -> None:
    """No recording of the folder is left out here."""
    assert FIRST_CAUSES.keys() == TAKES.keys()


@pytest.mark.parametrize("name", FIRST_CAUSES)
def test_first_cause(name: str) -> None:
    """Each fault recording: the right cause comes first, at the right place and time, and is at least likely."""
    cause, subject, earliest_s, latest_s, shown_s = FIRST_CAUSES[name]
    findings = judged(read_recording(replay(name))).findings
    first = findings.explanations[0]

    assert (first.cause, first.subject) == (cause, subject)
    assert earliest_s <= first.began_s <= latest_s
    assert findings.failure is not None
    assert first.began_s <= findings.failure.time_s <= shown_s
    assert first.sure in {Sureness.NEARLY_SURE, Sureness.LIKELY}
    assert not is_open(findings.failure, findings.explanations)


def test_nothing_went_wrong_in_a_healthy_night(tmp_path: Path) -> None:
    """A night without a fault has no failure, and none is made up."""
    assert judged(read_recording(night("healthy-night", tmp_path, 2.5))).findings.failure is None


def test_a_fading_radiator_is_a_cooling_fault(tmp_path: Path) -> None:
    """The radiator fades from half an hour on; the cold end is said to warm before the alert, and after the onset."""
    told = judged(read_recording(night("fading-radiator", tmp_path, 4.3, onset_s=1_800.0)))
    first = told.findings.explanations[0]

    assert first.cause is Cause.COOLING
    assert told.findings.failure is not None
    assert 1_800.0 < first.began_s < told.findings.failure.time_s


@pytest.mark.long
def test_a_narrowing_channel_is_a_clog(tmp_path: Path) -> None:
    """A channel that lets less and less through from an hour on."""
    told = judged(read_recording(night("narrowing-channel", tmp_path, 3.2, period_s=2.0, onset_s=3_600.0)))
    first = told.findings.explanations[0]

    assert (first.cause, first.subject) == (Cause.CLOG, "input 1")
    assert 3_600.0 <= first.began_s <= 3.2 * 3600.0


@pytest.mark.long
@pytest.mark.parametrize(
    ("name", "severity", "hours", "cause", "subject"),
    [
        ("tangle", Severity.PLAIN, 4.2, Cause.TANGLE, "input 2"),  # after 20 min of standing: much like a jam
        ("grinding", Severity.SLIGHT, 3.6, Cause.GRINDING, "input 2"),  # part of the feed arrives: much like a clog
        ("jam-after-idle", Severity.SLIGHT, 3.6, Cause.JAM_AFTER_IDLE, "input 5"),  # half arrives: no known pattern
    ],
)
def test_where_the_pattern_alone_misleads(
    name: str, severity: Severity, hours: float, cause: Cause, subject: str, tmp_path: Path
) -> None:
    """Nights in which the detectors' pattern is another one, or none: all evidence together finds the cause."""
    path = tmp_path / "night.jsonl"
    record(Take(of_severity(SCENARIOS[name], severity), hours, 2.0), path)
    first = judged(read_recording(path)).findings.explanations[0]

    assert (first.cause, first.subject, first.sure) == (cause, subject, Sureness.LIKELY)


def _renamed(source: Path, path: Path) -> Path:
    """The same recording with other names everywhere: file, machine, source, labels, lots and materials."""
    lines = zstandard.ZstdDecompressor().stream_reader(source.read_bytes()).read().split(b"\n")
    header = json.loads(lines[0])
    other = {name: f"stuff-{place}" for place, name in enumerate(header["materials"]) if name.startswith("demo-")}
    header |= {"machine": "tangle grinding", "source": "run-out, healthy-night", "program": "slow-clog"}
    header["materials"] = {other.get(name, name): table for name, table in header["materials"].items()}
    for strand in header["profile"]["strands"]:
        strand |= {"label": "left idle", "lot": "cold", "material": other[strand["material"]]}
    header["profile"]["name"] = "fading radiator"
    path.write_bytes(b"\n".join([json.dumps(header).encode(), *lines[1:]]))
    return path


@pytest.mark.parametrize("name", ["jam-after-idle", "run-out", "tangle", "cold-manifold"])
def test_names_tell_nothing(name: str, tmp_path: Path) -> None:
    """With every name exchanged for a misleading one the explanations stay the same, to the last digit."""
    plain = judged(read_recording(replay(name))).findings
    misled = judged(read_recording(_renamed(replay(name), tmp_path / "grinding.jsonl"))).findings

    def told(found: object) -> list[tuple[object, ...]]:
        return [(e.cause, e.subject, e.began_s, e.weight) for e in found.explanations]  # type: ignore[attr-defined]

    assert told(misled) == told(plain)


def _heater_fails(sample: Sample) -> Sample:
    """The manifold loses 3 K a minute from 4000 s on, its heater full on."""
    lost_k = max(0.0, sample.time_s - 4_000.0) / 20.0
    changed = {"temp_c:manifold": max(140.0, sample.values["temp_c:manifold"] - lost_k)}
    return replace(sample, values={**sample.values, **changed, "duty:manifold": 1.0}) if lost_k else sample


def test_a_failing_heater_is_told_from_a_low_set_point(tmp_path: Path) -> None:
    """The manifold is as cold as when it is set too low, but its set point asks for more: the heater is at fault."""
    path = night("healthy-night", tmp_path, 1.8)
    findings = judged(Changed(path, samples_changed(_heater_fails))).findings
    first = findings.explanations[0]

    assert first.cause is Cause.HEATER
    assert 4_000.0 < first.began_s < 4_600.0
    assert all(told.weight < first.weight / 1.5 for told in findings.explanations if told.cause is Cause.COLD_MANIFOLD)


def _sensor_jumps(sample: Sample) -> Sample:
    if sample.time_s < 3_000.0 or "temp_c:nozzle" not in sample.values:
        return sample
    off_k = 60.0 if round(sample.time_s / 4.0) % 8 == 0 else 0.0
    return replace(sample, values={**sample.values, "temp_c:nozzle": sample.values["temp_c:nozzle"] + off_k})


def test_a_loose_sensor_is_a_sensor_fault(tmp_path: Path) -> None:
    """A nozzle that reads 60 K more now and then is not believed: its sensor is the first cause."""
    findings = judged(Changed(night("healthy-night", tmp_path, 1.2), samples_changed(_sensor_jumps))).findings

    assert findings.explanations[0].cause is Cause.SENSOR
    assert 3_000.0 <= findings.explanations[0].began_s < 3_600.0


def test_a_silent_sensor_is_a_sensor_fault(tmp_path: Path) -> None:
    """A sensor that is never reported again is named."""

    def silent(sample: Sample) -> Sample:
        kept = {name: value for name, value in sample.values.items() if name != "temp_c:cold_end"}
        return replace(sample, values=kept) if sample.time_s > 3_000.0 else sample

    findings = judged(Changed(night("healthy-night", tmp_path, 1.2), samples_changed(silent))).findings

    assert findings.explanations[0].cause is Cause.SENSOR
    assert findings.explanations[0].subject.endswith("cold_end")


def _without_motion(name: str, *kinds: str) -> Judged:
    return judged(Changed(replay(name), without_channels(*kinds)))


def test_what_is_missing_is_named() -> None:
    """Without an encoder the report says that it does not know whether the strand moved, and is less sure."""
    full = judged(read_recording(replay("tangle"))).findings
    blind = _without_motion("tangle", "sensed_mm").findings

    assert blind.failure is not None
    assert blind.failure.input == 2
    missing = [line for told in blind.explanations for line in told.missing]
    assert any("no encoder on input 2" in line for line in missing)
    assert not any("no encoder" in line for told in full.explanations for line in told.missing)
    assert blind.explanations[0].weight < full.explanations[0].weight


def test_what_nothing_watched_is_not_called_well() -> None:
    """With neither encoders nor flags this run-out is not seen, and the report says that it could not have been."""
    told = _without_motion("run-out", "sensed_mm", "stall")
    blocks = [*summary_blocks(told.gathered, told.findings, Times(datetime(2026, 1, 1, tzinfo=UTC)))]

    assert told.findings.failure is None
    assert unseen_inputs(told.gathered) == (1, 2, 3, 4, 5, 6)
    assert any("could have gone unseen" in block.text for block in blocks if isinstance(block, Words))
    assert unseen_inputs(judged(read_recording(replay("run-out"))).gathered) == ()


def test_what_a_heater_tells_is_left_open() -> None:
    """A heater that gives less than the feed takes tells of a stop, not of its cause; what fed just then is named."""
    gathered = _without_motion("run-out", "sensed_mm", "stall").gathered
    raised_s = 4_740.0
    alarm = Incident(
        "melt/manifold/1", "melt", "manifold", None, Priority.ALARM, raised_s, None, "less", "less", "look", "", ()
    )
    findings = find_causes(replace(gathered, incidents=(alarm,)))
    first = findings.explanations[0]

    assert findings.failure is not None
    assert is_open(findings.failure, findings.explanations)
    assert first.cause is Cause.STOPPED
    assert any("whether it moved is not known" in line for line in first.missing)
    assert any(first.subject in text for text, _ in first.evidence)


def test_without_flags_the_report_says_so() -> None:
    """Without the driver's stall flags that is named as missing."""
    findings = _without_motion("run-out", "stall").findings
    missing = [line for told in findings.explanations for line in told.missing]

    assert any("no stall flags" in line for line in missing)


def test_weights() -> None:
    """Evidence never makes sure, what speaks against only lowers, and the order of evidence does not matter."""
    pieces = (Evidence("a", 0.6), Evidence("b", 0.3), Evidence("c", -0.5))

    assert total_weight(pieces) == pytest.approx(total_weight(pieces[::-1]))
    assert total_weight(pieces[:1]) < total_weight(pieces[:2]) < 1.0
    assert total_weight(pieces) == pytest.approx(total_weight(pieces[:2]) * 0.5)
    assert total_weight(()) == 0.0
    assert [sureness(weight) for weight in (0.9, 0.7, 0.3, 0.1)] == [*Sureness]
