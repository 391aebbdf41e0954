"""A recording as the source of a session, the owner's requests included; what was concluded then is kept to compare."""

from collections.abc import AsyncIterator
from contextlib import aclosing

from connectors.recording import Conclusion
from connectors.replay_link import ReplayLink
from monitor.core.engine_input import EngineInput
from monitor.recording.inputs import input_in


class ReplaySource:
    """Plays a recording into a session.

    Parameters
    ----------
    link : ReplayLink
        Reads the file and keeps the pace.
    """

    def __init__(self, link: ReplayLink) -> None:
        self._link = link
        self.alerts: list[Conclusion] = []
        """Recorded changes of alerts, as far as played."""
        self.is_over = False
        """Whether all of the file was played."""
        self.is_complete = False
        """Whether the end line of the watch was reached: of the last one, where it was begun anew and resumed."""
        self.has_gaps = False
        """Whether lines could not be written then."""

    async def events(self) -> AsyncIterator[EngineInput]:
        """Yield what the engine was told then, in the same order."""
        async with aclosing(self._link.items()) as items:
            async for item in items:
                if not isinstance(item, Conclusion):
                    yield item
                    continue
                told = input_in(item)
                if told is not None:
                    yield told
                else:
                    self._take(item)
        self.is_over = True

    def _take(self, conclusion: Conclusion) -> None:
        if conclusion.kind == "alert":
            self.alerts.append(conclusion)
        if conclusion.kind in {"end", "resumed"}:
            self.is_complete = conclusion.kind == "end"
        self.has_gaps = self.has_gaps or conclusion.kind == "gap"
