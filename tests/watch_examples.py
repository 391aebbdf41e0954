"""Invented machine, steps, links and recorders that the tests of sessions and commands share."""

import io
from collections.abc import AsyncIterator, Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from connectors.telemetry import Event, Execution, Sample
from monitor.core.alert_types import Alert, AlertState, AlertTransition, Priority
from monitor.core.assessment import Activity, Assessment, Condition, Quality, StrandAssessment, WallReading
from monitor.core.engine_input import EngineInput
from monitor.core.span import Span
from monitor.output import Output
from tests.machines import machine

PARAMETERS = machine()
_ROW = np.zeros(2)
STRAND = StrandAssessment(
    input=4,
    material="demo-chalk",
    label="",
    activity=Activity.IDLE,
    condition=Condition.NORMAL,
    quality=Quality.GOOD,
    idle_s=5400.0,
    feed_mm_s=0.0,
    fed_mm=120.0,
    dose_now_min=90.0,
    dose_warn_min=300.0,
    dose_limit_min=480.0,
    reference_c=195.0,
    warn_left_s=Span(7300.0, 9000.0),
    limit_left_s=Span(12000.0, 20000.0),
    hottest_c=195.0,
    glass_c=60.0,
    softening_min=0.0,
    softening_warn_min=10.0,
    softening_limit_min=30.0,
    soft_front_mm=20.0,
    stiff_from_mm=30.0,
    merge_wall_c=195.0,
    min_feed_c=175.0,
    min_feed_is_rule=True,
    x_mm=_ROW,
    temp_c=_ROW,
    dose_min=_ROW,
)
ASSESSMENT = Assessment(
    time_s=0.0,
    machine="invented bench",
    execution=Execution.ACTIVE,
    progress=0.25,
    link_available=True,
    link_reason="opened",
    sample_age_s=0.0,
    quality=Quality.GOOD,
    condition=Condition.NORMAL,
    zones=(),
    walls=(WallReading("manifold", 195.0, 195.0, 0.3, Quality.GOOD, 0.0),),
    strands=(STRAND,),
    liners=(),
    alerts=(),
    counts={"samples": 1},
)
ALERT = Alert(
    id="dose/input 4/1",
    condition="dose",
    subject="input 4",
    input=4,
    priority=Priority.WARNING,
    state=AlertState.UNACKNOWLEDGED,
    since_s=0.0,
    text="input 4 (demo-chalk) is ageing: 300 min at 195 °C taken",
    action="Advance input 4 by 18 mm.",
    value=300.0,
    limit=300.0,
    unit="min",
)
RAISED = AlertTransition(0.0, "raised", ALERT, AlertState.NORMAL, "engine")


def sample(time_s: float, **walls_c: float) -> Sample:
    """Sample with the temperatures of some sensors, by default of all that the profile names."""
    values = walls_c or {"cold_end": 32.0, "manifold": 195.0, "nozzle": 225.0}
    return Sample(time_s, {f"temp_c:{name}": value for name, value in values.items()}, Execution.ACTIVE)


@dataclass
class ScriptedStep:
    """A step of which the test knows everything; counts how often its assessment is read."""

    event: EngineInput
    transitions: tuple[AlertTransition, ...] = ()
    strand: StrandAssessment = STRAND
    reads: int = 0

    @property
    def assessment(self) -> Assessment:
        """The same for every event, but for its time and the strand."""
        self.reads += 1
        return replace(ASSESSMENT, time_s=self.event.time_s, strands=(self.strand,))


@dataclass
class ScriptedEngine:
    """Raises alerts at the times it is told to, and notes everything in `log`."""

    log: list[str] = field(default_factory=list)
    alerts_at: Mapping[float, AlertTransition] = field(default_factory=dict)
    steps: list[ScriptedStep] = field(default_factory=list)

    def advance(self, event: EngineInput) -> ScriptedStep:
        """Note the event; tell what is scripted for its time."""
        self.log.append(f"engine {type(event).__name__} {event.time_s:g}")
        found = self.alerts_at.get(event.time_s)
        told = () if found is None else (replace(found, time_s=event.time_s),)
        self.steps.append(ScriptedStep(event, told))
        return self.steps[-1]


@dataclass
class ListedLink:
    """Yields given events; then ends, fails, or waits for ever (`hold`). Notes in `log` when it is closed."""

    listed: Iterable[Event]
    log: list[str] = field(default_factory=list)
    failure: Exception | None = None
    hold: Callable[[], Any] | None = None

    async def events(self) -> AsyncIterator[Event]:
        """Yield what is listed."""
        try:
            for event in self.listed:
                yield event
            if self.failure is not None:
                raise self.failure
            if self.hold is not None:
                await self.hold()
        finally:
            self.log.append("link closed")


@dataclass
class NotedRecorder:
    """Notes in `log` what it is given."""

    log: list[str] = field(default_factory=list)
    failure: str | None = None

    def record_event(self, event: Event) -> None:
        """Note it."""
        self.log.append(f"record {type(event).__name__} {event.time_s:g}")

    def record_conclusion(self, kind: str, time_s: float, data: Mapping[str, Any]) -> None:
        """Note it."""
        assert data
        self.log.append(f"conclude {kind} {time_s:g}")

    def close(self, reason: str) -> None:
        """Note it."""
        self.log.append(f"recorder closed: {reason}")

    def discard(self) -> None:
        """Note it."""
        self.log.append("recording removed")


class Caught:
    """An output whose lines and messages can be read."""

    def __init__(self) -> None:
        self.out, self.err = io.StringIO(), io.StringIO()
        self.output = Output(self.out, self.err)

    @property
    def lines(self) -> list[str]:
        """What was written to standard output."""
        return self.out.getvalue().splitlines()

    @property
    def messages(self) -> list[str]:
        """What was written beside it."""
        return self.err.getvalue().splitlines()
