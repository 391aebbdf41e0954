"""All that the engine is told: what the machine says, what the owner asks, what the plan of the build says."""

from connectors.telemetry import Event
from monitor.core.alert_types import Request
from monitor.core.next_use import NextUses

EngineInput = Event | Request | NextUses
