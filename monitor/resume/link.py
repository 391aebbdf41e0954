"""The link of a resumed watch: tells first that nobody watched, then passes on what comes, counters of feed carried on.

A thin shell around `feed`. The new link's clock is set so that its times go on by themselves.
"""

from collections.abc import AsyncGenerator
from contextlib import aclosing
from typing import cast

from connectors.link import Link
from connectors.telemetry import Event, LinkChange
from monitor.resume.feed import CarriedCounters


class ResumedLink:
    """Events of a link after a seam.

    Parameters
    ----------
    link : Link
        The link of this process; its clock goes on from the recording's.
    seam : LinkChange
        Comes first: that nobody watched until then.
    counters : CarriedCounters
        Where feed stood.
    """

    def __init__(self, link: Link, seam: LinkChange, counters: CarriedCounters) -> None:
        self._link, self._seam, self._counters = link, seam, counters

    async def events(self) -> AsyncGenerator[Event, None]:
        """Yield the seam, then what the link yields; closing closes the link's."""
        yield self._seam
        async with aclosing(cast("AsyncGenerator[Event, None]", self._link.events())) as events:
            async for event in events:
                yield self._counters.event(event)
