"""Each fault of the simulated machine in several degrees: what is told of it, and what is too slight to be told.

The watch gets the telemetry alone. All nights are simulated.
"""

from dataclasses import replace
from typing import Final

import pytest

from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import SCENARIOS, Absence, FaultKind, Scenario, Severity, has_degrees, of_severity
from monitor.config import demo_profile
from monitor.core.engine import run
from monitor.core.stall_findings import StallPattern

PARAMETERS = demo_profile().parameters
PERIOD_S: Final = 2.0
ONSET_S: Final = 4_500.0
JAM: Final = "jam-after-idle"


def _night(name: str, severity: Severity, onset_s: float = ONSET_S) -> Scenario:
    """The scenario with its fault so bad, sooner in the night."""
    scenario = of_severity(SCENARIOS[name], severity)
    assert scenario.fault is not None
    away = (Absence(5, from_s=onset_s - 4_800.0, until_s=onset_s),) if name == JAM else ()
    return replace(scenario, fault=replace(scenario.fault, onset_s=onset_s), absences=away)


def _told(night: Scenario, hours: float) -> list[tuple[str, int | None, str, float]]:
    """What was raised or settled of stalls and cold feed: condition, input, pattern at the end, when."""
    raised: dict[tuple[str, int | None], float] = {}
    pattern: dict[int, str] = {}
    for step in run(simulate(night, period_s=PERIOD_S, duration_s=3600.0 * hours), PARAMETERS):
        for change in step.transitions:
            if change.event == "raised":
                raised[change.alert.condition, change.alert.input] = step.event.time_s
            if change.event in {"raised", "settled", "confirmed"} and change.alert.condition == "stall":
                stalls = {s.input: s.stall for s in step.assessment.strands if s.stall is not None}
                pattern |= {number: stall.pattern.value for number, stall in stalls.items()}
    return [(condition, number, pattern.get(number or 0, ""), at_s) for (condition, number), at_s in raised.items()]


STANDS, CLOG = StallPattern.STRAND_STOPPED, StallPattern.SLOW_CLOG


@pytest.mark.parametrize(
    ("name", "severity", "onset_s", "hours", "within_s", "pattern"),
    [
        ("grinding", Severity.SLIGHT, ONSET_S, 1.5, 200.0, STANDS),
        ("grinding", Severity.PLAIN, ONSET_S, 1.5, 200.0, StallPattern.GRINDING),
        ("grinding", Severity.SEVERE, ONSET_S, 1.5, 200.0, StallPattern.GRINDING),
        ("tangle", Severity.SLIGHT, ONSET_S, 1.5, 200.0, STANDS),
        ("tangle", Severity.PLAIN, ONSET_S, 1.5, 200.0, StallPattern.RUN_OUT_OR_TANGLE),
        ("tangle", Severity.SEVERE, ONSET_S, 1.5, 200.0, StallPattern.RUN_OUT_OR_TANGLE),
        (JAM, Severity.SLIGHT, 7_200.0, 2.2, 200.0, STANDS),
        (JAM, Severity.PLAIN, 7_200.0, 2.2, 100.0, StallPattern.JAM_AFTER_IDLE),
        (JAM, Severity.SEVERE, 7_200.0, 2.2, 100.0, StallPattern.JAM_AFTER_IDLE),
        ("slow-clog", Severity.SLIGHT, 3_600.0, 2.5, 4_800.0, CLOG),
        ("slow-clog", Severity.PLAIN, 3_600.0, 2.0, 2_400.0, CLOG),
        ("slow-clog", Severity.SEVERE, 3_600.0, 2.0, 1_000.0, CLOG),
        ("narrowing-channel", Severity.PLAIN, 3_600.0, 4.0, 5_400.0, CLOG),
        ("narrowing-channel", Severity.SEVERE, 3_600.0, 2.0, 3_600.0, CLOG),
    ],
)
def test_each_degree_is_told(
    name: str, severity: Severity, onset_s: float, hours: float, within_s: float, pattern: StallPattern
) -> None:
    """One stall alert, of the strand concerned, within so long. A slight loss by grinding or a held strand has no name.

    'Strand stopped' then stands for 'the evidence does not tell'. A plain narrowing is called that too while little
    has gone missing; in the end it is a slow clog.
    """
    night = _night(name, severity, onset_s)
    (told,) = (what for what in _told(night, hours) if what[0] == "stall")
    _, number, called, at_s = told
    assert night.fault is not None
    assert number == night.fault.input
    assert onset_s < at_s < onset_s + within_s
    assert called == pattern.value


@pytest.mark.parametrize(("severity", "strands"), [(Severity.SLIGHT, 2), (Severity.PLAIN, 3), (Severity.SEVERE, 3)])
def test_a_cold_manifold_is_told_in_each_degree(severity: Severity, strands: int) -> None:
    """A set point 15, 25 or 35 K too low is told as what it is before a strand skips: the colder, the more strands."""
    told = _told(_night("cold-manifold", severity), 1.5)
    assert {condition for condition, *_ in told} <= {"cold_feed", "heater_low"}
    assert len([what for what in told if what[0] == "cold_feed"]) >= strands


def test_a_channel_that_hardly_narrows_is_too_slight() -> None:
    """Slight narrowing leaves room for the fastest stretches over two metres and more: nothing is lost yet."""
    assert _told(_night("narrowing-channel", Severity.SLIGHT, 3_600.0), 3.0) == []


def test_degrees_change_the_fault_alone() -> None:
    """Until its onset a night is the same in every degree, and 'plain' is the night as it always was."""
    for name, scenario in SCENARIOS.items():
        if has_degrees(scenario):
            assert of_severity(scenario, Severity.PLAIN) == scenario, name
    nights = [_night("grinding", degree) for degree in (Severity.SLIGHT, Severity.SEVERE)]
    slight, severe = ([*simulate(night, duration_s=ONSET_S - 1.0)] for night in nights)
    assert slight == severe


def test_what_knows_no_degrees_says_so() -> None:
    """An empty spool is empty, and a healthy night healthy."""
    assert not has_degrees(SCENARIOS["run-out"])
    with pytest.raises(ValueError, match="knows no degrees"):
        of_severity(SCENARIOS["healthy-night"], Severity.SLIGHT)


def test_every_strand_fault_but_running_out_comes_in_degrees() -> None:
    """So that no pattern is only ever tried in one size."""
    without = {s.fault.kind for s in SCENARIOS.values() if s.fault is not None and not has_degrees(s)}
    assert without == {FaultKind.RUN_OUT, FaultKind.RADIATOR, FaultKind.HEATER, FaultKind.LOOSE_SENSOR}
