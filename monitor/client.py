"""What a screen may ask of a running watch: its newest conclusions, and to pass on a request.

A screen holds this and nothing else: no link, no engine, no recorder.
"""

from typing import Protocol

from monitor.core.alert_types import RequestKind
from monitor.core.assessment import Assessment
from monitor.history.memory import History


class WatchClient(Protocol):
    """A running watch, seen from a screen."""

    @property
    def latest(self) -> Assessment | None:
        """The newest assessment; None before the first event."""
        ...

    @property
    def history(self) -> History:
        """What the values were so far, for drawing trends: to be looked at, and fed by the watch alone.

        It may hold less than the watch lasted, or nothing: what is not known in it are gaps. That of a replay holds all
        that was read, also beyond the present place; whoever draws it ends at that place.
        """
        ...

    @property
    def source(self) -> str:
        """Where the data come from, in words: 'simulated machine', a port, an address, a file's name."""
        ...

    @property
    def notice(self) -> str:
        """One line the owner should see about the watch itself ('recording failed: disk full'); empty when none."""
        ...

    @property
    def ended(self) -> str | None:
        """Why the watch has ended, in words; None while it runs."""
        ...

    def ask(self, kind: RequestKind, alert_id: str, *, reason: str = "", for_s: float = 0.0) -> None:
        """Pass on what the owner asks of an alert; ValueError where a reason or a time is missing."""
        ...
