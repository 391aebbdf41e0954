"""Heater and sensor of the simulated machine's manifold that fail: what happens, and what the watch tells of it."""

from collections.abc import Iterator

import pytest

from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import SCENARIOS, Fault, FaultKind, Scenario
from connectors.telemetry import Sample
from monitor.config import demo_profile
from monitor.core.alert_types import AlertTransition, Priority
from monitor.core.engine import run

STUCK_S = 5_000.0
STUCK = Scenario("heater-on", "Heater on", "It is on.", Fault(FaultKind.HEATER_ON, STUCK_S, until_s=STUCK_S + 120.0))
FAILING, LOOSE = SCENARIOS["heater-failing"], SCENARIOS["loose-sensor"]


def _samples(scenario: Scenario, duration_s: float, seed: int = 1) -> Iterator[Sample]:
    return (event for event in simulate(scenario, seed, duration_s=duration_s) if isinstance(event, Sample))


def _raised(scenario: Scenario, duration_s: float, seed: int, period_s: float = 1.0) -> list[AlertTransition]:
    steps = run(simulate(scenario, seed, period_s, duration_s), demo_profile().parameters)
    changes = (change for step in steps for change in step.transitions if not change.is_by_design)
    return [change for change in changes if change.event == "raised"]


def test_a_heater_that_gives_nothing_lets_the_manifold_cool_at_full_duty() -> None:
    """Ten minutes later the manifold has lost more than 50 K although its duty is 1; then it comes back."""
    values = {sample.time_s: sample.values for sample in _samples(FAILING, 11_000)}
    before, late, after = (values[second] for second in (8_999.0, 9_590.0, 10_800.0))

    assert before["temp_c:manifold"] == pytest.approx(195.0, abs=1.0)
    assert late["temp_c:manifold"] < 145.0
    assert late["duty:manifold"] == 1.0
    assert late["temp_c:nozzle"] == pytest.approx(225.0, abs=1.5)
    assert after["temp_c:manifold"] == pytest.approx(195.0, abs=1.0)


def test_a_heater_that_stays_on_heats_at_no_duty() -> None:
    """Two minutes of full power: more than 30 K too hot while its duty is 0."""
    *_, last = _samples(STUCK, STUCK_S + 119.0)

    assert last.values["temp_c:manifold"] > 225.0
    assert last.values["duty:manifold"] == 0.0


def test_a_loose_sensor_reads_too_low_for_moments() -> None:
    """In an hour some ten to a hundred seconds read 40 K or more too low; no second reads too high."""
    manifold_c = [s.values["temp_c:manifold"] for s in _samples(LOOSE, 10_800) if s.time_s > 7_200]
    low = sum(temp_c < 155.0 for temp_c in manifold_c)

    assert 30 < low < 300
    assert min(manifold_c) < 100.0
    assert max(manifold_c) < 200.0


@pytest.mark.parametrize("period_s", [1.0, 4.0])
@pytest.mark.parametrize("seed", [1, 2])
def test_a_loose_sensor_is_told_exactly_once(seed: int, period_s: float) -> None:
    """One alert, on that sensor, within ten minutes; nothing of heat, cold or stalls beside it."""
    (change,) = _raised(LOOSE, 9_600, seed, period_s)

    assert (change.alert.condition, change.alert.subject) == ("implausible", "sensor manifold")
    assert 7_200.0 < change.time_s < 7_800.0


@pytest.mark.parametrize("seed", [1, 2])
def test_a_heater_that_stays_on_is_one_alarm(seed: int) -> None:
    """One call within two minutes; what is too hot because of it is folded under it."""
    raised = _raised(STUCK, STUCK_S + 1_200.0, seed)
    (change,) = (change for change in raised if not change.alert.folded_under)

    assert (change.alert.condition, change.alert.priority) == ("heater_high", Priority.ALARM)
    assert STUCK_S < change.time_s < STUCK_S + 120.0
    assert all(change.alert.id == other.alert.folded_under for other in raised if other is not change)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_heater_that_fails_is_told_once_as_such(seed: int) -> None:
    """While it is gone there is one alert of the heater, and strands too cold to feed; none is told before."""
    raised = [change for change in _raised(FAILING, 9_600, seed) if change.time_s < 9_600.0]
    heater = [change for change in raised if change.alert.condition == "heater_low"]

    assert [change.alert.subject for change in heater] == ["sensor manifold"]
    assert 9_000.0 < heater[0].time_s < 9_300.0
    assert "cold_feed" in {change.alert.condition for change in raised}
    assert min(change.time_s for change in raised) > 9_000.0
