"""Lets browsers look at a running watch: listens, lets in or refuses, and gives each page a screen of its own.

Owns the listening socket and the limits. Whatever fails here is told and ends no watch: it never raises.
"""

import asyncio
import logging
from collections.abc import Callable
from contextlib import suppress
from http import HTTPStatus
from pathlib import Path
from typing import Any, Final, cast

from websockets.asyncio.server import Server, ServerConnection, serve
from websockets.datastructures import Headers
from websockets.exceptions import ConnectionClosed
from websockets.frames import CloseCode
from websockets.http11 import Request, Response

from connectors.clean_text import clean_text
from monitor.attach.client import AttachedClient, AttachError
from monitor.serve.address import origins, plain_host
from monitor.serve.choice import Choice
from monitor.serve.guard import LIVE, Asked, Wanted, decide
from monitor.serve.hearing import LONGEST
from monitor.serve.looking import LookingClient
from monitor.serve.replies import cookie_name, reply
from monitor.serve.tab import GONE, Tab, close

MOST_TABS: Final = 8
MOST_CONNECTIONS: Final = 64
"""Connections at a time, before anybody has said who it is."""

REQUEST_S: Final = 5.0
"""How long a request may take to arrive [s]."""

PING_S: Final = 10.0
"""How often a page is asked whether it is there, and how long it may take to answer [s]."""

TEND_S: Final = 5.0
"""How often it is tried again to listen [s]."""

PARTING_S: Final = 1.0
"""How long the last words may take at the end [s]."""

_BACKLOG: Final = 16
"""Connections taken between two turns of the loop: a flood must not hold up the watch."""

_FULL: Final = f"{MOST_TABS} pages show this watch already: close one of them"

_QUIET: Final = logging.getLogger("monitor.serve.quiet")
_QUIET.disabled = True  # the library's log may hold addresses with the token, and a screen has no place for it

Fault = Callable[[str, Exception], None]


class ScreenServer:
    """Serves a watch to browsers from `open` to `close`.

    Parameters
    ----------
    choice : Choice
        How.
    find : callable
        Gives the socket of the watch, or None while there is none.
    take_fault : callable
        Told when a part of it fails.
    """

    def __init__(self, choice: Choice, find: Callable[[], Path | None], take_fault: Fault) -> None:
        self._choice, self._find, self._take_fault = choice, find, take_fault
        self._cookie = cookie_name(choice.listening.port)
        self._server: Server | None = None
        self._tending: asyncio.Task[None] | None = None
        self._connected: set[ServerConnection] = set()
        self._tabs: set[Tab] = set()
        self._seats = 0
        self.notice = ""
        """Why no browser can look on; empty when they can."""

    @property
    def tabs(self) -> int:
        """How many pages are shown the watch."""
        return len(self._tabs)

    async def open(self) -> None:
        """Begin to listen; never raises, but tells by `notice`."""
        await self._listen()
        self._tending = asyncio.create_task(self._tend())

    async def close(self) -> None:
        """Let every page show the newest once more, and be gone within seconds."""
        if self._tending is not None:
            self._tending.cancel()
            await asyncio.wait({self._tending})
        for tab in self._tabs:
            tab.end()
        if self._server is not None:
            with suppress(TimeoutError):
                async with asyncio.timeout(PARTING_S):
                    await self._tabs_gone()
            self._server.close(code=CloseCode.GOING_AWAY)
            with suppress(TimeoutError):
                async with asyncio.timeout(PARTING_S):
                    await self._server.wait_closed()
            for connection in tuple(self._connected):
                connection.transport.abort()
            await self._server.wait_closed()
            self._server = None

    async def _tabs_gone(self) -> None:
        while self._tabs:  # noqa: ASYNC110 -- at most a second, once
            await asyncio.sleep(0.02)

    async def _tend(self) -> None:
        while True:
            await asyncio.sleep(TEND_S)
            if self._server is None:
                await self._listen()

    async def _listen(self) -> None:
        place = self._choice.listening
        try:
            self._server = await serve(
                self._show_in, place.host, place.port, process_request=self._answer, server_header=None,
                compression=None, open_timeout=REQUEST_S, ping_interval=PING_S, ping_timeout=PING_S,
                close_timeout=PARTING_S, logger=_QUIET, backlog=_BACKLOG, ssl=self._choice.tls, max_size=LONGEST,
                max_queue=4, create_connection=cast("type[ServerConnection]", self._connection),
            )  # fmt: skip
        except OSError as error:
            self.notice = (
                f"no browser can look on: {place.host} port {place.port} cannot be listened at"
                f" ({clean_text(error.strerror or str(error))}); it is tried again, or choose another with --serve"
            )
        else:
            self.notice = ""

    def _connection(self, *args: Any, **keys: Any) -> ServerConnection:  # noqa: ANN401 -- passes its arguments on
        return _Bounded(self._connected, *args, **keys)

    def _answer(self, connection: ServerConnection, request: Request) -> Response | None:
        """Refuse a request, answer it with a part of the page, or let the websocket through."""
        try:
            return self._answered(connection, request)
        except Exception as error:  # noqa: BLE001 -- whatever fails of a page must not end the watch of a night
            self._take_fault("a browser's request", error)
            return _response(HTTPStatus.INTERNAL_SERVER_ERROR, {"Connection": "close"}, b"strandwatch itself failed\n")

    def _answered(self, connection: ServerConnection, request: Request) -> Response | None:
        choice = self._choice
        at = connection.local_address  # None for one that is cut off already
        ours = choice.public if at is None else origins(at[:2], choice.scheme, choice.public)
        decision = decide(_asked(request), choice.token, ours, self._cookie)
        if isinstance(decision, Wanted) and decision.name == LIVE:
            return None
        return _response(*reply(decision, choice.token, self._cookie))

    async def _show_in(self, connection: ServerConnection) -> None:
        try:
            if self._seats >= MOST_TABS:
                await close(connection, CloseCode.TRY_AGAIN_LATER, _FULL)
                return
            self._seats += 1
            try:
                await self._show_watch(connection)
            finally:
                self._seats -= 1
        except ConnectionClosed:
            return
        except Exception as error:  # noqa: BLE001 -- whatever fails of a page must not end the watch of a night
            self._take_fault("a browser's screen", error)
            await close(
                connection, CloseCode.INTERNAL_ERROR, "this screen failed within strandwatch; the watch goes on"
            )

    async def _show_watch(self, connection: ServerConnection) -> None:
        path = self._find()
        if path is None:
            await close(connection, GONE, "no watch is running")
            return
        client = self._client(path, connection)
        try:
            await client.connect()
        except (AttachError, OSError) as error:
            await close(connection, GONE, f"no watch can be reached: {error}")
            return
        tab = Tab(connection, client)
        self._tabs.add(tab)
        try:
            await tab.run()
        finally:
            self._tabs.discard(tab)
            await client.close()

    def _client(self, path: Path, connection: ServerConnection) -> AttachedClient:
        kind = AttachedClient if self._choice.may_ask else LookingClient
        peer = connection.remote_address
        return kind(path, "" if peer is None else f"browser {plain_host(peer[0])}")


class _Bounded(ServerConnection):
    """A connection that is one of a bounded number."""

    def __init__(self, connected: set[ServerConnection], *args: Any, **keys: Any) -> None:  # noqa: ANN401 -- as above
        super().__init__(*args, **keys)
        self._among = connected

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Count it; too many are cut off unheard."""
        super().connection_made(transport)
        self._among.add(self)
        if len(self._among) > MOST_CONNECTIONS:
            self.transport.abort()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget it."""
        self._among.discard(self)
        super().connection_lost(exc)


def _asked(request: Request) -> Asked:
    headers = request.headers
    is_upgrade = any("websocket" in value.lower() for value in headers.get_all("Upgrade"))
    hosts, told = headers.get_all("Host"), headers.get_all("Origin")
    return Asked(request.method, request.path, hosts, told, headers.get_all("Cookie"), is_upgrade)


def _response(status: HTTPStatus, headers: Any, body: bytes) -> Response:  # noqa: ANN401 -- a mapping
    return Response(status.value, status.phrase, Headers(headers), body)
