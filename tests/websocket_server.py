"""A real websocket server for tests on the loopback interface, and a link to it that waits for nothing."""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import aclosing, asynccontextmanager, suppress
from typing import Any

import pytest
from websockets.asyncio.server import Server, ServerConnection, serve
from websockets.exceptions import ConnectionClosed

from connectors.errors import LinkFailedError
from connectors.telemetry import Event, LinkChange, Sample
from connectors.websocket_link import WebsocketLink
from tests.websocket_examples import full, settings, settle

LONGEST_TEST_S = 15.0
FLOOD = 3000
"""Messages of 2 kB."""
TOKEN = "s3cret-of-this-test"  # noqa: S105 -- invented
Handler = Callable[[ServerConnection], Awaitable[None]]


class TestClock:
    """Seconds that pass only when the test says so."""

    __test__ = False

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        """Return the time."""
        return self.now_s


class Pauses:
    """Stands for the waiting between attempts: it keeps the times, and waits not at all."""

    def __init__(self) -> None:
        self.taken_s: list[float] = []

    async def __call__(self, pause_s: float) -> None:
        """Note the pause; let the others run."""
        self.taken_s.append(pause_s)
        await asyncio.sleep(0)


@asynccontextmanager
async def serving(handler: Handler, port: int = 0, **options: Any) -> AsyncIterator[tuple[Server, str]]:  # noqa: ANN401
    """A server and its address; peers that do not close are dropped soon."""

    async def quiet(connection: ServerConnection) -> None:
        with suppress(ConnectionClosed):
            await handler(connection)

    options = {"compression": None, "close_timeout": 0.2, "ping_interval": None} | options
    async with serve(quiet, "127.0.0.1", port, **options) as server:
        scheme = "ws" if options.get("ssl") is None else "wss"
        yield server, f"{scheme}://localhost:{server.sockets[0].getsockname()[1]}/live"


@asynccontextmanager
async def started(link: WebsocketLink) -> AsyncIterator[AsyncIterator[Event]]:
    """Events of `link`, closed at the end; the whole may take fifteen seconds at most."""
    async with asyncio.timeout(LONGEST_TEST_S), aclosing(link.events()) as events:  # type: ignore[type-var]  # a generator
        yield events


def make(url: str, clock: TestClock | None = None, pauses: Pauses | None = None, **changes: Any) -> WebsocketLink:  # noqa: ANN401
    """A link that looks after itself every ten milliseconds and does not wait between attempts."""
    waits = changes.pop("wait_for_server", False)
    link = WebsocketLink(
        settings(url=url, **changes),
        clock or TestClock(),
        beat_s=0.01,
        pause=pauses or Pauses(),
        wait_for_server=waits,
    )
    settle(link.protocol)
    return link


async def until(events: AsyncIterator[Event], is_it: Callable[[Event], bool]) -> Event:
    """Return the first event for which `is_it` holds."""
    async for event in events:
        if is_it(event):
            return event
    raise AssertionError("the link ended")


async def until_told(events: AsyncIterator[Event], words: str) -> LinkChange:
    """Return the first link change whose reason holds `words`."""
    event = await until(events, lambda e: isinstance(e, LinkChange) and words in e.reason)
    assert isinstance(event, LinkChange)
    return event


async def until_sample(events: AsyncIterator[Event]) -> Sample:
    """Return the next sample."""
    event = await until(events, lambda e: isinstance(e, Sample))
    assert isinstance(event, Sample)
    return event


async def failure(link: WebsocketLink) -> str:
    """Text with which the link fails."""
    async with started(link) as events:
        with pytest.raises(LinkFailedError) as failed:
            await until(events, lambda e: isinstance(e, Sample))
    return str(failed.value)


async def stays(connection: ServerConnection) -> None:
    """Handle a connection: a full status, then wait until it ends."""
    await connection.send(full())
    await connection.wait_closed()
