"""State of the build, as far as a serial controller's own words justify it. Pure.

A silent controller justifies nothing: "finished" is said only when the controller itself says that the file has ended.
"""

from typing import Final

from connectors.serial_words import Storage
from connectors.telemetry import Execution

ADVANCES_THAT_PROVE_RUNNING: Final = 2
"""After a pause the place in the file may still advance once, because commands are read ahead."""

_ACTIONS: Final = {
    "pause": Execution.INTERRUPTED,
    "paused": Execution.INTERRUPTED,
    "resume": Execution.ACTIVE,
    "resumed": Execution.ACTIVE,
    "cancel": Execution.STOPPED,
    "cancelled": Execution.STOPPED,
}


class BuildState:
    """Follows pauses and the place reached in the file."""

    def __init__(self) -> None:
        self._place: Storage | None = None
        self._is_held = False
        self._advances = 0

    def act(self, name: str) -> Execution | None:
        """The controller named something it does."""
        state = _ACTIONS.get(name.partition(" ")[0].lower())
        if state is not None:
            self._hold(is_held=state is Execution.INTERRUPTED)
        return state

    def be_busy(self, why: str) -> Execution | None:
        """The controller is busy; only a pause says anything about the build."""
        if "paused" not in why.lower():
            return None
        self._hold(is_held=True)
        return Execution.INTERRUPTED

    def advance(self, place: Storage) -> Execution | None:
        """The controller reported its place in the file, or that it runs none."""
        before, self._place = self._place, place
        if place.byte is None:
            return self._ended(before)
        if before is not None and before.byte is not None and place.byte > before.byte:
            self._advances += 1
        if self._is_held and self._advances < ADVANCES_THAT_PROVE_RUNNING:
            return Execution.INTERRUPTED
        self._is_held = False
        return Execution.ACTIVE

    def restart(self) -> Execution:
        """The controller restarted: no build is running."""
        self._place = None
        self._hold(is_held=False)
        return Execution.READY

    def _hold(self, *, is_held: bool) -> None:
        self._is_held, self._advances = is_held, 0

    def _ended(self, before: Storage | None) -> Execution | None:
        """No build runs from storage now. Without one before, a host may be sending it, so nothing is said."""
        if before is None or before.byte is None or self._is_held:
            return None
        return Execution.PROGRAM_COMPLETED if before.byte == before.of else Execution.READY
