"""A link whose build is followed along its plan: after a sample that is due for it, the plan's word comes too."""

from collections.abc import AsyncIterator
from contextlib import aclosing
from typing import Protocol

from connectors.telemetry import Sample
from monitor.core.engine_input import EngineInput
from monitor.core.next_use import NextUses
from monitor.session_parts import Source


class Follower(Protocol):
    """What follows the plan (`monitor.planning.following.PlanFollower`)."""

    def take(self, sample: Sample) -> NextUses | None:
        """Take in a sample; give the word of the plan when it is due."""
        ...


class FollowedSource:
    """Passes on what a source yields, and the plan's words between.

    Parameters
    ----------
    source : Source
    follower : Follower
    """

    def __init__(self, source: Source, follower: Follower) -> None:
        self._source, self._follower = source, follower

    async def events(self) -> AsyncIterator[EngineInput]:
        """Yield in order of time."""
        async with aclosing(self._source.events()) as events:  # type: ignore[type-var]  # sources are generators
            async for event in events:
                yield event
                word = self._follower.take(event) if isinstance(event, Sample) else None
                if word is not None:
                    yield word
