"""What a session hands on after every event. `monitor.core.engine.Step` is one; tests bring others."""

from typing import Protocol

from monitor.core.alert_types import AlertTransition
from monitor.core.assessment import Assessment
from monitor.core.engine_input import EngineInput


class Step(Protocol):
    """What the engine made of one event."""

    @property
    def event(self) -> EngineInput:
        """The event."""
        ...

    @property
    def transitions(self) -> tuple[AlertTransition, ...]:
        """Alerts that changed with it."""
        ...

    @property
    def assessment(self) -> Assessment:
        """Everything known after it; computed when read."""
        ...
