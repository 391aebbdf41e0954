"""Since when a strand stands hot: what ends that clock, and what does not."""

from collections.abc import Iterable, Iterator

import pytest

from connectors.telemetry import Event, Sample
from connectors.websocket_protocol import WebsocketProtocol
from monitor.core.assessment import Activity, StrandAssessment
from monitor.core.engine import run
from monitor.core.hot_clock import COOL_FOR_S
from tests.machines import machine
from tests.websocket_examples import full, part, settings, settle

HOUR_S = 3600.0


def _walls(from_s: float, until_s: float, wall_c: float) -> Iterator[Sample]:
    for tick in range(round(from_s), round(until_s)):
        yield Sample(float(tick), {"temp_c:manifold": wall_c, "temp_c:cold_end": 30.0, "fed_mm:1": 0.0})


def _strand(*parts: Iterable[Event]) -> StrandAssessment:
    *_, step = run((event for part in parts for event in part), machine())
    return step.assessment.strands[0]


@pytest.mark.parametrize("low_c", [0.0, 25.0])
def test_wrong_readings_for_seconds_do_not_end_it(low_c: float) -> None:
    """An hour at 195 °C with twenty seconds of a loose wire in it: the strand has stood hot for an hour."""
    strand = _strand(_walls(0, 1800, 195.0), _walls(1800, 1820, low_c), _walls(1820, 3600, 195.0))
    assert strand.idle_s == pytest.approx(HOUR_S, abs=2.0)


def test_a_manifold_that_has_cooled_ends_it() -> None:
    """After two minutes below its glass transition a strand has not stood hot; later it begins anew."""
    cooled = [_walls(0, 1800, 195.0), _walls(1800, 1920, 40.0)]
    assert _strand(*cooled).activity is Activity.COLD
    assert _strand(*cooled, _walls(1920, 3600, 195.0)).idle_s == pytest.approx(1680.0, abs=5.0)


def test_a_machine_that_is_cold_at_the_start_stands_cold_at_once() -> None:
    """What was not known counted as hot; the first reading says otherwise, and nothing waits."""
    unknown = [Sample(float(second), {"fed_mm:1": 0.0}) for second in range(30)]
    assert _strand(unknown, _walls(30, 40, 25.0)).activity is Activity.COLD


def test_one_low_websocket_reading_that_stands_in_the_status_does_not_end_it() -> None:
    """A machine that tells changes only: the odd value stands until the next, and is believed after two seconds."""
    protocol = WebsocketProtocol(settings(stale_after_s=600.0))
    settle(protocol)
    protocol.opened(0.0)

    def events() -> Iterator[Event]:
        yield from protocol.receive(full(), 0.0)
        for second in range(1, 3600):
            heat = {1800: 24.0, 1810: 205.0, 1811: 205.0}.get(second)
            change = {"feed": [{"run": 100.0}, {"run": 50.0}]} if heat is None else {"heat": {"now": heat}}
            yield from protocol.receive(part(change), float(second))

    told = list(events())
    low = [event for event in told if isinstance(event, Sample) and event.values.get("temp_c:manifold") == 24.0]
    assert 0 < len(low) < COOL_FOR_S
    assert _strand(told).idle_s == pytest.approx(HOUR_S, abs=2.0)
