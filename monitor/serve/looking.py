"""The client of a screen that may look and not ask: it passes nothing on, whoever presses what."""

from monitor.attach.client import AttachedClient
from monitor.core.alert_types import RequestKind

ONLY_LOOKS = (
    "this screen may only look, so nothing was asked of the watch. Do it at the watch or an attached terminal; or start"
    " it with --serve-may-ask"
)


class LookingClient(AttachedClient):
    """An `AttachedClient` that asks for nothing and says so."""

    def ask(self, kind: RequestKind, alert_id: str, *, reason: str = "", for_s: float = 0.0) -> None:  # noqa: ARG002 -- whatever it is
        """Say that this screen may only look."""
        self._tell(ONLY_LOOKS)

    def refuse(self) -> None:
        """Say so before the owner has to answer questions for nothing."""
        self._tell(ONLY_LOOKS)
