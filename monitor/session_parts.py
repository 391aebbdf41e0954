"""What a session is put together of, seen from the session: a source, a judge, a recording, a notifier."""

from collections.abc import AsyncIterator, Mapping
from typing import Any, Protocol

from connectors.telemetry import Event
from monitor.core.engine_input import EngineInput
from monitor.step import Step


class Source(Protocol):
    """Where the events come from: a link, or a recording with the owner's requests in it."""

    def events(self) -> AsyncIterator[EngineInput]:
        """Yield events in order of time."""
        ...


class Judge(Protocol):
    """An engine (`monitor.core.engine.Engine`)."""

    def advance(self, event: EngineInput) -> Step:
        """Take in one event."""
        ...


class Recording(Protocol):
    """A recorder (`monitor.recording.recorder.Recorder`); it never raises, but tells its `failure`."""

    failure: str | None

    def record_event(self, event: Event) -> None:
        """Append an event."""
        ...

    def record_conclusion(self, kind: str, time_s: float, data: Mapping[str, Any]) -> None:
        """Append a conclusion."""
        ...

    def close(self, reason: str) -> None:
        """Put everything on the disk and close."""
        ...

    def discard(self) -> None:
        """Close and remove what nothing was recorded in."""
        ...


class Notifying(Protocol):
    """A notifier (`monitor.notify.notifier.Notifier`): an onlooker with something to finish when the watch ends."""

    @property
    def notice(self) -> str:
        """What the owner should see of channels that fail."""
        ...

    def take(self, step: Step) -> None:
        """Look at a step; must not block."""
        ...

    async def close(self, reason: str | None = None) -> None:
        """Tell why the watch has ended, where that is to be told, and end within seconds."""
        ...


class Serving(Protocol):
    """What other screens attach to (`monitor.attach.server.AttachServer`); it never raises, but tells by its notice."""

    @property
    def notice(self) -> str:
        """Why nobody can attach; empty when they can."""
        ...

    async def open(self) -> None:
        """Begin."""
        ...

    async def close(self, reason: str) -> None:
        """Tell all why the watch has ended, and end within seconds."""
        ...
