"""Streams that once ended a watch or left a danger untold, each kept short."""

from collections.abc import Iterable, Iterator

import pytest

from connectors.telemetry import Event, Sample
from monitor.core.alert_types import AlertTransition, Request, RequestKind
from monitor.core.engine import run
from monitor.core.engine_input import EngineInput
from monitor.core.stall_watch import Pace, paced
from tests.machines import machine

WALLS = {"temp_c:nozzle": 220.0, "temp_c:cold_end": 30.0}


def _told(events: Iterable[EngineInput]) -> list[AlertTransition]:
    return [change for step in run(events, machine()) for change in step.transitions]


def test_an_encoder_that_is_silent_while_its_noise_is_learned_ends_nothing() -> None:
    """Five minutes without encoder values within the first 600 mm: the watch goes on."""

    def events() -> Iterator[Event]:
        for second in range(500):
            values = {**WALLS, "temp_c:manifold": 200.0, "fed_mm:1": 2.0 * second}
            if not 60 < second < 380:
                values["sensed_mm:1"] = 2.0 * second
            yield Sample(float(second), values)

    assert not any(change.alert.condition == "stall" for change in _told(events()))


def test_a_runaway_is_told_although_another_sensor_is_dead() -> None:
    """The cold end never reports; the manifold, which does, goes to 320 °C: ceiling and liner call."""
    dead = (
        Sample(
            float(second),
            {
                "temp_c:nozzle": 220.0,
                "temp_c:manifold": 200.0 if second < 400 else 320.0,
                "fed_mm:1": float(second),
            },
        )
        for second in range(0, 1200, 2)
    )
    raised = {change.alert.condition for change in _told(dead) if change.event == "raised"}

    assert {"ceiling", "liner", "sensor"} <= raised


def test_a_silent_sensor_alone_raises_nothing_by_its_set_point() -> None:
    """A sensor that fell silent counts at its set point in the model, but calls nobody for it."""
    silent = [
        Sample(
            float(second),
            {
                **WALLS,
                "set_c:manifold": 260.0,
                "fed_mm:1": 0.0,
                **({"temp_c:manifold": 200.0} if second < 60 else {}),
            },
        )
        for second in range(0, 600, 2)
    ]

    assert not {"ceiling", "liner"} & {change.alert.condition for change in _told(silent)}


def test_the_stop_limit_of_a_liner_is_told_under_an_alarm_that_was_seen() -> None:
    """Ceiling ALARM acknowledged; then the liner passes its stop limit: that leads, and is not folded away."""

    def events() -> Iterator[EngineInput]:
        for second in range(900):
            manifold_c = 200.0 if second < 100 else 252.0 if second < 400 else 320.0
            yield Sample(float(second), {**WALLS, "temp_c:manifold": manifold_c})
            if second == 200:
                yield Request(200.0, RequestKind.ACKNOWLEDGE, "ceiling/input 1/1", "owner")

    told = _told(events())
    stop = [change for change in told if "Stop heating now" in change.alert.action]

    assert stop
    assert not stop[0].alert.folded_under
    later = [change for change in told if change.time_s > stop[0].time_s and change.alert.condition == "dose"]
    assert later
    assert all(change.alert.action.startswith("First stop heating") for change in later)


def test_a_stall_that_began_cold_is_told_once_the_manifold_is_hot_and_nothing_arrives() -> None:
    """Skipping in a cold manifold, then heat, then a strand that does not move at all: the second is a stall."""

    def events() -> Iterator[Event]:
        fed = seen = 0.0
        for second in range(2400):
            manifold_c = 170.0 if 690 < second < 1000 else 200.0
            fed += 1.0
            seen += 1.0 if second < 720 else 0.5 if second < 1000 else 0.0
            walls = {**WALLS, "temp_c:manifold": manifold_c, "set_c:manifold": manifold_c}
            yield Sample(float(second), {**walls, "fed_mm:1": fed, "sensed_mm:1": seen})

    raised = [change for change in _told(events()) if change.alert.condition == "stall" and change.event == "raised"]

    assert raised
    assert raised[0].time_s >= 1000.0


def test_one_gap_in_the_reports_leaves_a_standing_stall_alone() -> None:
    """Eight seconds without a report, after the alarm: it stands, and its loss is not learned as healthy."""

    def events() -> Iterator[Event]:
        fed = seen = time_s = 0.0
        for second in range(3000):
            time_s += 1.0 + 8.0 * (second == 1500)
            fed += 1.0
            seen += 1.0 if second < 800 else 0.8
            yield Sample(time_s, {**WALLS, "temp_c:manifold": 200.0, "fed_mm:1": fed, "sensed_mm:1": seen})

    *_, last = run(events(), machine())

    assert last.assessment.strands[0].stall is not None


def test_one_late_report_is_no_new_pace() -> None:
    """The period that limits go by stays after a single long interval."""
    pace = Pace()
    for second in range(40):
        pace = paced(pace, float(second))

    assert paced(pace, 60.0).period_s == pace.period_s == pytest.approx(1.0)


def test_a_cold_manifold_that_is_warm_again_is_not_called_cold() -> None:
    """While the alert waits to clear, its sentence says what is, and it does not escalate."""
    samples = [
        Sample(float(s), {**WALLS, "temp_c:manifold": 170.0 if 690 < s < 1000 else 200.0, "fed_mm:1": float(s)})
        for s in range(1030)
    ]
    *_, last = run(samples, machine())
    (alert,) = [alert for alert in last.assessment.alerts if alert.condition == "cold_feed"]

    assert alert.text == "the manifold is back at 200 °C, enough for input 1"
    assert alert.action == "Nothing yet; it clears within a minute."
