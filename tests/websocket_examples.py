"""Settings and messages of invented machines, shared by the tests of the websocket connector."""

import json
import tomllib
from pathlib import Path
from typing import Any

from connectors.json_pointer import Json
from connectors.telemetry import Event, LinkChange, Malformed, Sample
from connectors.websocket_protocol import WebsocketProtocol
from connectors.websocket_settings import WebsocketSettings

EXAMPLES = Path(__file__).parent.parent / "connectors" / "examples"

FULL_RULE = {"means": "full", "when": "/t", "equals": "all", "at": "/d", "sender_time": "/s"}
PART_RULE = FULL_RULE | {"means": "partial", "equals": "chg"}
NUMBERED = [FULL_RULE | {"sequence": "/n"}, PART_RULE | {"sequence": "/n"}]
STATUS = {"heat": {"now": 210.5}, "feed": [{"run": 100.0}, {"run": 50.0}]}
"""A status in which all channels of `settings` have a value."""

CHANNELS = {
    "temp_c:manifold": {"pointer": "/heat/now"},
    "fed_mm:1": {"pointer": "/feed/0/run"},
    "fed_mm:2": {"pointer": "/feed/1/run"},
}


def settings(**changes: Any) -> WebsocketSettings:  # noqa: ANN401 -- any key of the settings
    """Settings of a small machine with full and partial messages."""
    keys: dict[str, Any] = {
        "url": "ws://127.0.0.1:9/live",
        "messages": [FULL_RULE, PART_RULE, {"means": "ignore", "when": "/alive"}],
        "channels": CHANNELS,
    }
    return WebsocketSettings.model_validate(keys | changes)


def example(name: str, **changes: Any) -> WebsocketSettings:  # noqa: ANN401 -- any key of the settings
    """Settings of an example file, changed."""
    table = tomllib.loads((EXAMPLES / f"websocket_{name}.toml").read_text(encoding="utf-8"))["link"]
    return WebsocketSettings.model_validate(table | changes)


def full(status: Json = STATUS, **more: Json) -> str:
    """A full status message."""
    return json.dumps({"t": "all", "d": status} | more)


def part(change: Json, **more: Json) -> str:
    """A message with a change."""
    return json.dumps({"t": "chg", "d": change} | more)


def settle(protocol: WebsocketProtocol, **near_c: float) -> None:
    """Let each sensor have been believed already, near 205 °C or `near_c`: one more reading there needs no second."""
    for channel in protocol._channels:
        if channel._gate is not None:
            for time_s in (-2.0, -1.0):
                channel._gate.accept(near_c.get(channel.reader.name.partition(":")[2], 205.0), time_s)


class Feeder:
    """A protocol fed with one message a second; its sensors were believed before (see `settle`)."""

    def __init__(self, settings: WebsocketSettings, **near_c: float) -> None:
        self.protocol = WebsocketProtocol(settings)
        settle(self.protocol, **near_c)
        self.time_s = 0.0
        self.events: list[Event] = []
        self.protocol.opened(0.0)

    def take(self, *messages: str | bytes) -> list[Event]:
        """Receive messages, one a second; returns the events of the last one."""
        events: list[Event] = []
        for message in messages:
            self.time_s += 1.0
            events = self.protocol.receive(message, self.time_s)
            self.events += events
        return events

    def reconnect(self) -> None:
        """Connect anew, as the link would."""
        self.time_s += 1.0
        self.protocol.opened(self.time_s)

    def values(self, *messages: str | bytes) -> dict[str, float]:
        """Values of the sample that the last of these messages gave; empty when it gave none."""
        samples = [event for event in self.take(*messages) if isinstance(event, Sample)]
        return dict(samples[-1].values) if samples else {}

    def reason(self) -> str:
        """Why the link should connect anew; empty when it should not."""
        return self.protocol.reconnect_reason or ""

    def told(self) -> str:
        """Everything that was told so far."""
        return "\n".join(event.reason for event in self.events if isinstance(event, LinkChange | Malformed))
