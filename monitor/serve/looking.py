"""The client of a screen that may look and not ask: it passes nothing on, whoever presses what."""

from typing import Final

from monitor.attach.client import TOLD_S, AttachedClient
from monitor.core.alert_types import RequestKind

ONLY_LOOKS: Final = (
    "This page may only look, so nothing was asked of the watch. Do that at the watch or an attached terminal; with"
    " --serve-may-ask it can be done here."
)


class LookingClient(AttachedClient):
    """An `AttachedClient` that asks for nothing and says so."""

    _noted_until_s = float("-inf")

    @property
    def note(self) -> str:
        """What to tell whoever pressed a key of late that would have asked for something; else empty."""
        return ONLY_LOOKS if self._monotonic() < self._noted_until_s else ""

    def ask(self, kind: RequestKind, alert_id: str, *, reason: str = "", for_s: float = 0.0) -> None:  # noqa: ARG002 -- whatever it is
        """Say that this screen may only look."""
        self.refuse()

    def refuse(self) -> None:
        """Say so, also before the owner has to answer questions for nothing."""
        self._noted_until_s = self._monotonic() + TOLD_S
