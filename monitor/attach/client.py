"""A running watch in another process, as a screen sees it: its newest state, and the way back for requests.

Owns the connection. One that is lost while the watch lives is made again; a watch that is gone is told as such.
"""

import asyncio
import os
import socket
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

from connectors.clean_text import clean_text
from monitor.attach.place import user_at_other_end
from monitor.attach.wire import (
    LONGEST_FROM_WATCH,
    Ask,
    Bye,
    Frames,
    FromWatch,
    Hello,
    News,
    Past,
    Refused,
    WireError,
    framed,
    from_watch,
    hello,
    is_understood,
    mismatch_text,
)
from monitor.core.alert_types import Request, RequestKind
from monitor.core.assessment import Assessment
from monitor.every import Every
from monitor.history.keeping import EVERY_S
from monitor.history.memory import History

ANSWER_S: Final = 5.0
"""How long a watch may take to say who it is [s]."""

AGAIN_S: Final = 0.2
"""Spacing of attempts to connect again [s]."""

GIVE_UP_S: Final = 5.0
"""How long to try again before the watch is called gone [s]."""

TOLD_S: Final = 15.0
"""How long a request's refusal is shown [s]."""

_LONGEST_TEXT: Final = 1_000
_LONGEST_REASON: Final = 500


class AttachError(Exception):
    """A watch cannot be attached to; the text says why, and what to do."""


class _Connection(asyncio.Protocol):
    """One connection, from hello to its end."""

    def __init__(self, take: Callable[[FromWatch], None], lost: Callable[["_Connection"], None]) -> None:
        self._take, self._lost = take, lost
        self._frames = Frames(LONGEST_FROM_WATCH)
        self.transport: asyncio.Transport | None = None
        self.greeting: asyncio.Future[Hello] = asyncio.get_running_loop().create_future()
        self.parting: asyncio.Future[None] = asyncio.get_running_loop().create_future()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Keep the transport."""
        assert isinstance(transport, asyncio.Transport)  # noqa: S101 -- a stream connection has no other
        self.transport = transport

    def data_received(self, data: bytes) -> None:
        """Take in what the watch says; what is not understood ends the connection."""
        try:
            for body in self._frames.feed(data):
                self._hear(from_watch(body))
        except WireError as error:
            self._fail(f"the watch speaks in a way that is {clean_text(str(error))}")
            self.close()

    def connection_lost(self, error: Exception | None) -> None:  # noqa: ARG002 -- however it went
        """Tell it, once."""
        self._fail("the watch hung up")
        if not self.parting.done():
            self.parting.set_result(None)
        self._lost(self)

    def send(self, message: Hello | Ask) -> bool:
        """Send; False when nobody takes it."""
        if self.transport is None or self.transport.is_closing() or self.transport.get_write_buffer_size():
            return False
        self.transport.write(framed(message))
        return True

    def close(self) -> None:
        """Hang up."""
        if self.transport is not None:
            self.transport.abort()

    def _hear(self, message: FromWatch) -> None:
        if isinstance(message, Hello) and not self.greeting.done():
            self.greeting.set_result(message)
        elif isinstance(message, Bye) and not self.greeting.done():
            self._fail(clean_text(message.text, _LONGEST_TEXT))
        elif self.greeting.done():
            self._take(message)

    def _fail(self, why: str) -> None:
        if not self.greeting.done():
            self.greeting.set_exception(AttachError(why))
            self.greeting.exception()  # somebody may have stopped waiting for it


class AttachedClient:
    """The `WatchClient` of an attached screen.

    Parameters
    ----------
    path : Path
        Socket of the watch.
    terminal : str
        Where the screen is shown; recorded with what is asked from it.
    monotonic : callable
        Seconds that only go forward.
    """

    def __init__(self, path: Path, terminal: str = "", monotonic: Callable[[], float] = time.monotonic) -> None:
        self.path, self._terminal, self._monotonic = path, terminal, monotonic
        self.latest: Assessment | None = None
        self.history = History()
        """What the values were: the watch's own past as it is told, and what has come since."""
        self._is_due = Every(EVERY_S)
        self.source = ""
        self.ended: str | None = None
        self.watch: Hello | None = None
        """Who is at the other end; None before `connect`."""
        self._notice = ""
        self._told, self._told_until_s = "", 0.0
        self._parting = ""
        self._connection: _Connection | None = None
        self._again: asyncio.Task[None] | None = None
        self._is_leaving = False

    @property
    def notice(self) -> str:
        """What the owner should see about the watch, or about this screen's connection to it."""
        lost = "the connection to the watch is lost and tried again" if self._again is not None else ""
        told = self._told if self._monotonic() < self._told_until_s else ""
        return "; ".join(filter(None, (lost, told, self._notice)))

    def ask(self, kind: RequestKind, alert_id: str, *, reason: str = "", for_s: float = 0.0) -> None:
        """Pass on what the owner asks of an alert; ValueError where a reason or a time is missing."""
        Request(0.0, kind, alert_id, "owner", reason, for_s)
        asked = Ask(kind, alert_id, reason[:_LONGEST_REASON], for_s)
        if self.ended is None and (self._connection is None or not self._connection.send(asked)):
            self._tell(f"the watch did not take the request to {kind}: ask again")

    async def connect(self) -> None:
        """Attach.

        Raises
        ------
        AttachError
            When there is no watch, when it does not answer, or when the two do not understand each other.
        OSError
            When the connection itself fails.
        """
        await self._connect()

    async def close(self) -> None:
        """Detach; the watch goes on."""
        self._is_leaving = True
        again, self._again = self._again, None
        if again is not None:
            again.cancel()
            await asyncio.wait({again})
        if self._connection is not None:
            self._connection.close()
            await self._connection.parting

    async def _connect(self) -> None:
        loop = asyncio.get_running_loop()
        _, connection = await loop.create_unix_connection(lambda: _Connection(self._take, self._lost), str(self.path))
        try:
            self._greet(connection, await _greeting(connection))
        except BaseException:
            connection.close()
            await connection.parting
            raise

    def _greet(self, connection: _Connection, watch: Hello) -> None:
        assert connection.transport is not None  # noqa: S101 -- it has said something
        its_socket: socket.socket = connection.transport.get_extra_info("socket")
        if user_at_other_end(its_socket)[1] != os.getuid():
            raise AttachError("another user's process listens there, and its word is not to be trusted")
        own = hello(os.getpid(), terminal=self._terminal)
        if not is_understood(watch):
            raise AttachError(clean_text(mismatch_text(watch, own), _LONGEST_TEXT))
        self.watch, self._connection, self._parting = watch, connection, ""
        self.source = clean_text(watch.source)
        self.history, self._is_due = History(), Every(EVERY_S)
        if not connection.send(own):
            raise AttachError("the watch hung up")

    def _take(self, message: FromWatch) -> None:
        if isinstance(message, News):
            self._take_latest(message.latest)
            self._notice = clean_text(message.notice, _LONGEST_TEXT)
            self.ended = None if message.ended is None else clean_text(message.ended, _LONGEST_TEXT)
        elif isinstance(message, Past):
            self._take_past(message)
        elif isinstance(message, Refused):
            self._tell(clean_text(message.text))
        elif isinstance(message, Bye):
            self._parting = clean_text(message.text, _LONGEST_TEXT)

    def _take_latest(self, latest: Assessment | None) -> None:
        if latest is None:
            return
        self.latest = latest
        if self._is_due(latest.time_s):
            self.history.take(latest)

    def _take_past(self, told: Past) -> None:
        try:
            self.history.add_past(told.piece)
        except ValueError as error:
            self._tell(f"part of the watch's past is not understood and left out: {clean_text(str(error))}")

    def _tell(self, text: str) -> None:
        self._told, self._told_until_s = text, self._monotonic() + TOLD_S

    def _lost(self, connection: _Connection) -> None:
        if connection is not self._connection:
            return
        if self._parting and self.ended is None:
            self.ended = f"this screen was sent away: {self._parting}"
        if self.ended is None and not self._is_leaving and self._again is None:
            self._again = asyncio.get_running_loop().create_task(self._connect_again())

    async def _connect_again(self) -> None:
        """Find the watch again, or find out that it is gone."""
        try:
            self.ended = await self._tried_again()
        finally:
            self._again = None

    async def _tried_again(self) -> str | None:
        begin_s, why = self._monotonic(), "it does not answer"
        while self._monotonic() - begin_s < GIVE_UP_S:
            await asyncio.sleep(AGAIN_S)
            try:
                await self._connect()
            except (ConnectionRefusedError, FileNotFoundError):
                return self._gone()
            except AttachError as error:
                why = str(error)
            except OSError as error:
                why = error.strerror or str(error)
            else:
                return None
        return f"it let go of this screen and cannot be reached again: {why}"

    def _gone(self) -> str:
        pid = "unknown" if self.watch is None else self.watch.pid
        return (
            f"its process {pid} is gone without a word, so it was killed or it crashed; if it recorded, that is kept."
            " Nothing watches the machine now: start the watch anew"
        )


async def _greeting(connection: _Connection) -> Hello:
    try:
        async with asyncio.timeout(ANSWER_S):
            return await connection.greeting
    except TimeoutError:
        raise AttachError(
            "the watch does not answer: its process is stopped, or hangs. Look at where it was started"
        ) from None


async def look(path: Path) -> Hello:
    """Ask who listens at a socket, and hang up; AttachError or OSError when nobody says so."""
    loop = asyncio.get_running_loop()
    _, connection = await loop.create_unix_connection(lambda: _Connection(lambda _: None, lambda _: None), str(path))
    try:
        return await _greeting(connection)
    finally:
        connection.close()
        await connection.parting
