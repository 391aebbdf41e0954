"""What a session hands on after every event. `monitor.core.engine.Step` is one; tests bring others."""

from typing import Protocol

from connectors.telemetry import Event
from monitor.core.alert_types import AlertTransition, Request
from monitor.core.assessment import Assessment


class Step(Protocol):
    """What the engine made of one event."""

    @property
    def event(self) -> Event | Request:
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
