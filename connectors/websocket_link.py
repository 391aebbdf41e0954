"""A machine's websocket as a stream of events: connects, reads, says only what the profile lists, and reconnects.

A thin asynchronous shell around `WebsocketProtocol`. Owns the life of the connection; knows nothing of what messages
mean. Nothing is sent but the profile's own texts (checked there) and the pings of RFC 6455.
"""

import asyncio
from collections.abc import AsyncGenerator, AsyncIterator, Awaitable, Callable, Iterator
from contextlib import aclosing
from dataclasses import replace
from typing import Final

from websockets.asyncio.client import ClientConnection
from websockets.exceptions import ConnectionClosed, WebSocketException

from connectors.errors import LinkFailedError
from connectors.link import Clock, backoff, with_ticks
from connectors.telemetry import Event, LinkChange, Malformed
from connectors.websocket_access import read_access
from connectors.websocket_connection import open_connection
from connectors.websocket_protocol import WebsocketProtocol
from connectors.websocket_settings import WebsocketSettings
from connectors.websocket_words import why_lost, why_not_connected

FIRST_PAUSE_S: Final = 0.25
BEAT_S: Final = 0.25
STEADY_AFTER_S: Final = 5.0
"""A connection that lived this long [s] was a good one: after its loss, begin with short pauses again."""


class WebsocketLink:
    """A websocket, kept open.

    Parameters
    ----------
    settings : WebsocketSettings
        The `[link]` table of the profile.
    clock : Clock
        Seconds on the watch's own clock.
    wait_for_server : bool
        Keep trying when the server cannot be reached at first, instead of failing.
    beat_s : float
        Longest wait for a message [s] before silence and the keepalive are looked after.
    pause : Callable
        Waits between attempts to connect.

    Raises
    ------
    SettingsError
        The token or the certificate cannot be read, or others may read the token.
    """

    def __init__(
        self,
        settings: WebsocketSettings,
        clock: Clock,
        *,
        wait_for_server: bool = False,
        beat_s: float = BEAT_S,
        pause: Callable[[float], Awaitable[None]] = asyncio.sleep,
    ) -> None:
        self._settings = settings
        self._clock = clock
        self._waits_for_server = wait_for_server
        self._beat_s = beat_s
        self._pause = pause
        self._access = read_access(settings)
        self._has_worked = self._is_resync = False
        self._told = ""
        self._pauses = self._short_pauses()
        self._pong: Awaitable[float] | None = None
        self.protocol = WebsocketProtocol(settings)

    def events(self) -> AsyncIterator[Event]:
        """Yield events until closed; raises `LinkFailedError` when trying again cannot help."""
        return with_ticks(self._events(), self._clock)

    def _short_pauses(self) -> Iterator[float]:
        return backoff(FIRST_PAUSE_S, self._settings.reconnect_max_s)

    async def _events(self) -> AsyncGenerator[Event, None]:
        while True:
            found = await self._try_to_connect()
            if isinstance(found, LinkChange):
                yield self._without_token(found)
            elif found is not None:
                async with aclosing(self._conversation(found)) as conversation:
                    async for event in conversation:
                        yield self._without_token(event)
            await self._pause(next(self._pauses))

    async def _try_to_connect(self) -> ClientConnection | LinkChange | None:
        """A connection, or why there is none; None when that was told before."""
        try:
            connection = await open_connection(self._settings, self._access)
        except (OSError, UnicodeError, WebSocketException) as error:
            refusal = why_not_connected(error, self._settings)
            if not self._has_worked and (refusal.is_hopeless or not self._waits_for_server):
                raise LinkFailedError(refusal.reason) from None
            self._is_resync = False
            is_news, self._told = self._told != refusal.reason, refusal.reason
            return self._change(f"{refusal.reason}; trying again", available=False) if is_news else None
        self._has_worked, self._told = True, ""
        return connection

    async def _conversation(self, connection: ClientConnection) -> AsyncGenerator[Event, None]:
        """Events of a connection until it is lost or given up; the last one says so, unless that was planned."""
        opened_s = self._clock()
        try:
            for event in self._opened(connection, opened_s):
                yield event
            for text in self.protocol.greeting():
                await connection.send(self._access.filled(text))
            while self.protocol.reconnect_reason is None:
                for event in await self._step(connection):
                    yield event
            reason = self.protocol.reconnect_reason
        except ConnectionClosed as closed:
            reason = why_lost(closed, self._settings)
        finally:
            await connection.close()
        if self._clock() - opened_s >= STEADY_AFTER_S:
            self._pauses = self._short_pauses()
        self._is_resync = self.protocol.is_planned
        if not self._is_resync:
            yield self._change(f"{self._settings.shown_url}: {reason}; connecting again", available=False)

    async def _step(self, connection: ClientConnection) -> list[Event]:
        await self._speak(connection)
        events = self._take_pong()
        try:
            async with asyncio.timeout(self._beat_s):
                message = await connection.recv()
        except TimeoutError:
            pass
        else:
            events += self.protocol.receive(message, self._clock())
        return events + self.protocol.elapse(self._clock())

    async def _speak(self, connection: ClientConnection) -> None:
        now_s = self._clock()
        text = self.protocol.text_due(now_s)
        if text is not None:
            await connection.send(self._access.filled(text))
        if self._pong is None and self.protocol.wants_proof(now_s):
            self._pong = await connection.ping()

    def _take_pong(self) -> list[Event]:
        if not isinstance(self._pong, asyncio.Future) or not self._pong.done():
            return []
        self._pong = None
        return self.protocol.proven_alive(self._clock())

    def _opened(self, connection: ClientConnection, time_s: float) -> list[Event]:
        self.protocol.opened(time_s)
        self._pong = None
        if self._is_resync:
            return []
        wanted = self._settings.subprotocol
        doubt = "" if connection.subprotocol == wanted else f" (it did not confirm the subprotocol {wanted})"
        return [self._change(f"connected to {self._settings.shown_url}{doubt}", available=True)]

    def _without_token(self, event: Event) -> Event:
        if isinstance(event, Malformed):
            hide = self._access.without_token
            return replace(event, reason=hide(event.reason), excerpt=hide(event.excerpt))
        if isinstance(event, LinkChange):
            return replace(event, reason=self._access.without_token(event.reason))
        return event

    def _change(self, reason: str, *, available: bool) -> LinkChange:
        return LinkChange(self._clock(), available=available, reason=reason)
