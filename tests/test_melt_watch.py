"""The heaters' power balance through the engine: where no encoder and no driver tells how a strand moves."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import SCENARIOS
from connectors.telemetry import Event, Sample
from monitor.config import demo_profile
from monitor.core.engine import run
from monitor.core.feed import Feed, Feeds
from monitor.core.melt_watch import Melting, melt_watch
from monitor.core.parameters import Heater
from tests.machines import machine

PARAMETERS = demo_profile().parameters


def _without_drives(events: Iterable[Event]) -> Iterator[Event]:
    for event in events:
        if isinstance(event, Sample):
            kept = {name: value for name, value in event.values.items() if not name.startswith(("sensed_mm", "stall"))}
            yield replace(event, values=kept)


def _raised(name: str, duration_s: float) -> list[str]:
    events = _without_drives(simulate(SCENARIOS[name], period_s=2.0, duration_s=duration_s))
    return [
        change.alert.condition
        for step in run(events, PARAMETERS)
        for change in step.transitions
        if change.event == "raised"
    ]


def test_only_heaters_at_the_merge_point_count() -> None:
    """The nozzle's heater melts nothing that the manifold has not melted before."""
    heaters = (Heater("one", "manifold", 60.0), Heater("two", "nozzle", 40.0))

    assert melt_watch(replace(machine(), heaters=heaters)).heaters == heaters[:1]


def test_feed_between_heater_readings_counts_with_the_next() -> None:
    """Feed and heater may be told in different samples: nothing of the flow is lost."""
    watch = melt_watch(replace(machine(), heaters=(Heater("one", "manifold", 60.0),)))
    values = {"temp_c:manifold": 195.0, "duty:manifold": 0.3}
    meltings: tuple[Melting, ...] = watch.initial()
    for time_s, fed_mm, told in ((0.0, 0.0, values), (5.0, 10.0, {}), (10.0, 20.0, values)):
        meltings = watch.after(meltings, told, time_s, Feeds((Feed(fed_mm, 0.0, fed_mm),), (time_s,)))
    reading = meltings[0].balance.last

    assert reading is not None
    assert abs(reading.flow_mm3_s - 2.0 * 3.14159265 / 4 * 1.75**2) < 1e-6


def test_a_healthy_night_without_encoders_is_quiet() -> None:
    """Six hours of turns, pauses and draught: nothing is missing."""
    assert _raised("healthy-night", 6 * 3600.0) == []


def test_a_strand_that_ran_out_is_missed_by_the_heater() -> None:
    """Without encoder and driver the heater tells that less is melted than is fed; late, but it does."""
    assert _raised("run-out", 6.2 * 3600.0) == ["melt"]
