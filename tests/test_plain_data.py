"""Conclusions as plain data: valid under the published schema, units in keys, nothing JSON cannot hold."""

import json
import math
import re
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

from connectors.recording import Conclusion, Decoder, Encoder
from connectors.telemetry import Execution
from monitor.core.advice_types import Advice, AdviceKind, Figure
from monitor.core.alert_types import Alert, AlertState, AlertTransition, Priority, Request, RequestKind
from monitor.core.assessment import (
    Activity,
    Assessment,
    Condition,
    LinerReading,
    Quality,
    SharedReading,
    StrandAssessment,
    WallReading,
    ZonePlace,
)
from monitor.core.forecast import main_doubt
from monitor.core.span import Span
from monitor.core.stall_findings import Detector, FlowSlip, StallFinding, StallPattern
from monitor.plain_data import (
    assessment_data,
    end_data,
    flow_slip_data,
    output_line,
    transition_data,
)
from monitor.recording.request_data import request_data, request_in
from tests.doubt_examples import DOUBTS, LIMIT_MIN
from tests.recording_examples import HEADER, validator

SCHEMA = json.loads((Path(__file__).parent.parent / "monitor" / "output.schema.json").read_text())
CHECK = jsonschema.Draft202012Validator(SCHEMA)

ALERT = Alert(
    id="dose-warn-4-1",
    condition="dose-warn",
    subject="input 4",
    input=4,
    priority=Priority.WARNING,
    state=AlertState.UNACKNOWLEDGED,
    since_s=14_400.0,
    text="Input 4 has taken 61 of 60 min.",
    action="Feed 18 mm of it into waste.",
    value=61.0,
    limit=60.0,
    unit="min",
)

STRAND = StrandAssessment(
    input=4,
    material="demo-chalk",
    label="chalk support",
    activity=Activity.IDLE,
    condition=Condition.WARNING,
    quality=Quality.GOOD,
    idle_s=14_000.0,
    feed_mm_s=0.0,
    fed_mm=None,
    dose_now_min=61.0,
    dose_warn_min=60.0,
    dose_limit_min=95.0,
    reference_c=195.0,
    warn_left_s=Span(0.0, 0.0),
    limit_left_s=Span(2040.0, math.inf),
    hottest_c=195.5,
    glass_c=57.0,
    softening_min=0.0,
    softening_warn_min=10.0,
    softening_limit_min=30.0,
    soft_front_mm=17.25,
    stiff_from_mm=30.0,
    merge_wall_c=195.0,
    min_feed_c=172.0,
    min_feed_is_rule=True,
    x_mm=np.linspace(0.25, 51.75, 104),
    temp_c=np.full(104, 195.5),
    dose_min=np.full(104, 61.0),
)

ASSESSMENT = Assessment(
    time_s=14_460.0,
    machine="garage six",
    execution=Execution.ACTIVE,
    progress=0.4,
    link_available=True,
    link_reason="",
    sample_age_s=0.25,
    quality=Quality.GOOD,
    condition=Condition.WARNING,
    zones=(ZonePlace("manifold", 0.0, 16.0, "manifold", None),),
    walls=(WallReading("manifold", 195.0, 195.0, None, Quality.GOOD, 0.25),),
    strands=(STRAND,),
    liners=(LinerReading("heat break", "PTFE", 161.5, 240.0, 260.0, 280.0, 90.0, 0.0, 0.0),),
    alerts=(ALERT,),
    counts={"samples": 57_000, "malformed": 0},
)

TRANSITION = AlertTransition(14_400.0, "raised", ALERT, AlertState.NORMAL, "engine")


def _line(kind: str, data: dict[str, Any]) -> dict[str, Any]:
    """A line of output as its reader gets it, checked against the schema; the data are JSON in any writer's hands."""
    json.dumps(data, allow_nan=False)
    line: dict[str, Any] = json.loads(output_line(kind, 14_460.0, data))
    CHECK.validate(line)
    return line


def test_an_assessment_fits_the_schema_and_keeps_its_numbers() -> None:
    """All of an assessment but the profiles is there under the key of its name and unit; never is null."""
    line = _line("assessment", assessment_data(ASSESSMENT))
    (strand,) = line["strands"]
    assert (line["machine"], line["execution"], line["progress"]) == ("garage six", "ACTIVE", 0.4)
    assert (strand["dose_now_min"], strand["soft_front_mm"], strand["fed_mm"]) == (61.0, 17.25, None)
    assert (strand["warn_left_low_s"], strand["limit_left_low_s"], strand["limit_left_high_s"]) == (0.0, 2040.0, None)
    assert line["walls"] == [
        {
            "sensor": "manifold",
            "temp_c": 195.0,
            "set_c": 195.0,
            "duty": None,
            "quality": "GOOD",
            "age_s": 0.25,
            "is_estimate": False,
        }
    ]
    assert line["liners"][0]["hottest_c"] == 161.5
    assert line["alerts"][0]["priority"] == "WARNING"
    assert line["counts"] == {"samples": 57_000, "malformed": 0}


def test_no_field_of_a_strand_is_forgotten() -> None:
    """Every field of a strand is in its plain data; ranges as two keys, profiles left out."""
    (strand,) = assessment_data(ASSESSMENT)["strands"]
    expected = {field.name for field in fields(StrandAssessment)} - {"x_mm", "temp_c", "dose_min", "flow_slip"}
    expected -= {"warn_left_s", "limit_left_s"}
    expected |= {f"{name}_left_{end}_s" for name in ("warn", "limit") for end in ("low", "high")}
    expected |= {"is_used_again"}  # tells apart the two kinds of a null next_use_s
    assert strand.keys() == expected


def test_estimates_and_ranges_are_marked() -> None:
    """An estimated wall says so; the low ends of idle time and dose stand beside the high ones, null where sure."""
    wall = WallReading("cold_end", 41.0, None, None, Quality.GOOD, 14_460.0, is_estimate=True)
    unsure = replace(STRAND, idle_low_s=720.0, dose_low_min=12.5, doubt="gap in the data")
    line = _line("assessment", assessment_data(replace(ASSESSMENT, walls=(wall,), strands=(STRAND, unsure))))
    sure, strand = line["strands"]
    assert line["walls"][0]["is_estimate"] is True
    assert (strand["idle_low_s"], strand["dose_low_min"], strand["doubt"]) == (720.0, 12.5, "gap in the data")
    assert (sure["idle_low_s"], sure["dose_low_min"], sure["doubt"]) == (None, None, "")


def test_a_stall_is_told_with_its_evidence() -> None:
    """A stall comes with pattern, numbers and sentences that fit the schema; slip that nobody saw is null."""
    stall = StallFinding(
        StallPattern.GRINDING,
        6.5,
        8.0,
        Span(120.0, 121.5),
        math.nan,
        is_final=False,
        evidence=("6.5 mm lost in 8 mm",),
        detector=Detector.FLAGS,
    )
    line = _line("assessment", assessment_data(replace(ASSESSMENT, strands=(replace(STRAND, stall=stall),))))
    told = line["strands"][0]["stall"]

    assert (told["pattern"], told["detector"], told["slip"]) == ("grinding", "flags", None)
    assert (told["lost_mm"], told["onset_low_mm"], told["onset_high_mm"]) == (6.5, 120.0, 121.5)


@pytest.mark.parametrize("pattern", StallPattern)
def test_every_pattern_fits_the_schema(pattern: StallPattern) -> None:
    """The patterns of the schema are those of the engine."""
    stall = StallFinding(pattern, 1.0, 2.0, Span(0.0, 1.0), 0.5, is_final=True, evidence=(), detector=Detector.SLOW)
    _line("assessment", assessment_data(replace(ASSESSMENT, strands=(replace(STRAND, stall=stall),))))


def test_observed_slip_is_told_by_input() -> None:
    """Bins by flow and temperature, inputs without any left out."""
    seen = replace(STRAND, flow_slip=(FlowSlip(4.0, 190.0, 120.0, 0.02),))
    data = flow_slip_data(replace(ASSESSMENT, strands=(STRAND, seen)))

    assert data == {
        "inputs": [
            {"input": 4, "bins": [{"flow_mm3_s": 4.0, "manifold_c": 190.0, "fed_mm": 120.0, "slip": 0.02}]},
        ]
    }


def test_every_doubt_of_the_engine_fits_the_schema() -> None:
    """The words for what makes a range are those of the schema."""
    for case in DOUBTS.values():
        name = main_doubt(case.ageing, LIMIT_MIN, case.limit_high_min)
        _line("assessment", assessment_data(replace(ASSESSMENT, strands=(replace(STRAND, doubt=name),))))


def test_the_shared_channel_is_told_strand_by_strand() -> None:
    """Each part of it with input, share, age and dose, and the limits of its own material; no field is left out."""
    held = SharedReading(4, 0.75, 90.0, 3.5, 190.0, 285.0)
    line = _line("assessment", assessment_data(replace(ASSESSMENT, shared=(held,))))
    assert line["shared"] == [
        {
            "input": 4,
            "share": 0.75,
            "age_s": 90.0,
            "dose_min": 3.5,
            "dose_warn_min": 190.0,
            "dose_limit_min": 285.0,
        }
    ]
    assert line["shared"][0].keys() == {field.name for field in fields(SharedReading)}


@pytest.mark.parametrize("kind", AdviceKind)
def test_advice_is_told_with_reason_numbers_and_caution(kind: AdviceKind) -> None:
    """Each kind fits the schema; figures keep their names and units, what is infinite is null."""
    figures = (Figure("length_mm", 18.0), Figure("interval_s", math.inf))
    piece = Advice(kind, None, True, "Do.", "So.", figures, "Mind.", ("G91", "G1 E18 F60"), "Yours.")  # noqa: FBT003 -- in the order of the fields
    (told,) = _line("assessment", assessment_data(replace(ASSESSMENT, advice=(piece,))))["advice"]

    assert told.keys() == {field.name for field in fields(Advice)}
    assert told["figures"] == {"length_mm": 18.0, "interval_s": None}
    assert (told["kind"], told["input"], told["lines"]) == (kind.value, None, ["G91", "G1 E18 F60"])


def test_an_assessment_before_the_first_data_is_valid_too() -> None:
    """What is unknown or infinite becomes null, be it a float of Python or of numpy."""
    strand = replace(STRAND, idle_s=np.float64(math.inf), hottest_c=math.nan, limit_left_s=Span(math.inf, math.inf))
    wall = WallReading("manifold", None, None, None, Quality.BAD, math.inf)
    blank = replace(
        ASSESSMENT,
        execution=None,
        progress=None,
        sample_age_s=math.inf,
        quality=Quality.BAD,
        walls=(wall,),
        strands=(strand,),
        alerts=(),
    )
    line = _line("assessment", assessment_data(blank))
    assert line["sample_age_s"] is None
    assert (line["strands"][0]["idle_s"], line["strands"][0]["hottest_c"]) == (None, None)
    assert line["strands"][0]["limit_left_low_s"] is None


@pytest.mark.parametrize("priority", Priority)
@pytest.mark.parametrize("state", AlertState)
def test_every_priority_and_state_of_an_alert_fits_the_schema(priority: Priority, state: AlertState) -> None:
    """A transition is one flat object: the alert's keys, what happened, from which state, by whom."""
    alert = replace(ALERT, priority=priority, state=state, input=None, value=None, limit=None)
    line = _line("alert", transition_data(replace(TRANSITION, alert=alert)))
    assert (line["priority"], line["state"]) == (priority.name, state.value)
    assert (line["event"], line["previous_state"], line["actor"]) == ("raised", "Normal", "engine")


def test_every_state_of_a_strand_fits_the_schema() -> None:
    """The words of activity, condition and quality in the code are those of the schema."""
    for activity in Activity:
        for condition in Condition:
            for quality in Quality:
                strand = replace(STRAND, activity=activity, condition=condition, quality=quality)
                _line("assessment", assessment_data(replace(ASSESSMENT, strands=(strand,))))
    for execution in Execution:
        _line("assessment", assessment_data(replace(ASSESSMENT, execution=execution)))


def test_the_end_counts_every_priority() -> None:
    """The last line tells all three priorities, those never raised as 0."""
    line = _line("end", end_data("the recording ended", {Priority.ALARM: 2}, {"samples": 9}))
    assert line["alerts_raised"] == {"CAUTION": 0, "WARNING": 0, "ALARM": 2}


def test_the_schema_refuses_what_it_should() -> None:
    """Unknown keys, missing keys and words of another vocabulary are not valid, so that the tests above can fail."""
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    good = _line("alert", transition_data(TRANSITION))
    assert not CHECK.is_valid({**good, "colour": "red"})
    assert not CHECK.is_valid({**good, "priority": "LOUD"})
    assert not CHECK.is_valid({key: value for key, value in good.items() if key != "actor"})
    assessment = _line("assessment", assessment_data(ASSESSMENT))
    assert not CHECK.is_valid({**assessment, "strands": [{**assessment["strands"][0], "temp_c": []}]})
    assert not CHECK.is_valid({**assessment, "alerts": [good]})


def test_numbers_carry_their_unit_in_the_key() -> None:
    """Every key of a strand that holds a number ends in a unit, but for the input's own number."""
    (strand,) = assessment_data(ASSESSMENT)["strands"]
    numeric = {key for key, value in strand.items() if isinstance(value, float | int) and not isinstance(value, bool)}
    assert [key for key in sorted(numeric - {"input"}) if not re.search(r"_(s|c|mm|min|mm_s)$", key)] == []


def test_acknowledgements_survive_a_recording() -> None:
    """Written, read and turned back, an acknowledgement is the same; other and damaged conclusions are none."""
    given = Request(14_500.0, RequestKind.ACKNOWLEDGE, "dose-warn-4-1", "screen")
    kind, data = request_data(given)
    line = Encoder(HEADER).encode_conclusion(kind, given.time_s, data)
    assert kind == "acknowledge"
    validator("acknowledge").validate(json.loads(line))
    read = Decoder(HEADER).decode(line)
    assert isinstance(read, Conclusion)
    assert request_in(read) == given
    assert request_in(Conclusion("alert", 1.0, {"alert_id": "a", "actor": "b"})) is None
    assert request_in(Conclusion("acknowledge", 1.0, {"alert_id": 7, "actor": "b"})) is None
    assert request_in(Conclusion("acknowledge", 1.0, {})) is None


@pytest.mark.parametrize("kind", [kind for kind in RequestKind if kind is not RequestKind.ACKNOWLEDGE])
def test_requests_survive_a_recording(kind: RequestKind) -> None:
    """Whatever the owner asks is written as the schema says, and read back as it was; damaged ones are none."""
    given = Request(14_500.0, kind, "liner/heat break/1", "owner", "looked at it", 1800.0)
    line_kind, data = request_data(given)
    line = Encoder(HEADER).encode_conclusion(line_kind, given.time_s, data)
    validator("request").validate(json.loads(line))
    read = Decoder(HEADER).decode(line)
    assert isinstance(read, Conclusion)
    assert request_in(read) == given
    for damage in ({"ask": "dance"}, {"ask": None}, {"reason": 3}, {"for_s": "1"}, {"alert_id": None}):
        assert request_in(Conclusion(line_kind, 1.0, {**data, **damage})) is None


def test_recorded_conclusions_are_lines_of_output() -> None:
    """A recording holds the very objects that ``--json`` prints."""
    data = transition_data(TRANSITION)
    recorded = Encoder(HEADER).encode_conclusion("alert", 14_460.0, data)
    assert recorded.decode() == output_line("alert", 14_460.0, data) + "\n"
