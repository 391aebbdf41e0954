"""One page in one browser: a desk of its own over an attached client, painted to the page until either is gone.

Sends only what changed, at most a few times a second, and only when the page has taken what was sent last. Reads a
little at a time. Knows nothing of requests, tokens or other pages.
"""

import asyncio
from collections.abc import Sequence
from contextlib import suppress
from typing import Final

from websockets.asyncio.server import ServerConnection
from websockets.exceptions import ConnectionClosed
from websockets.frames import CloseCode

from connectors.clean_text import clean_text
from monitor.attach.client import AttachedClient
from monitor.serve.buttons import asks, buttons
from monitor.serve.hearing import NotUnderstoodError, Pressed, Sized, heard
from monitor.serve.looking import LookingClient
from monitor.serve.painting import Painter
from monitor.tui.desk import Desk
from monitor.tui.ink import Line
from monitor.tui.view import View
from monitor.tui.words import SYMBOL

HZ: Final = 4.0
"""How often the page is painted at most while no key is pressed [1/s]."""

BETWEEN_MESSAGES_S: Final = 0.03
"""Spacing of what is read [s]: a page that floods the watch waits for itself."""

FIRST_S: Final = 5.0
"""How long a page may take to tell its size [s]."""

UNREAD_S: Final = 10.0
"""A page that takes nothing for so long is let go [s]; it comes back by itself when it can."""

GONE: Final = 4001
"""Close code: the watch has ended, or there is none. Private ones begin at 4000 (RFC 6455, section 7.4.2)."""

LEFT: Final = 4002
"""Close code: the owner pressed the leaving key."""

_LONGEST_REASON: Final = 123
"""Bytes that a close frame can hold beside its code (RFC 6455, section 5.5)."""


class Tab:
    """What one page shows.

    Parameters
    ----------
    connection : ServerConnection
        The page's websocket, open.
    client : AttachedClient
        The watch, attached to; a `LookingClient` for a page that may only look.
    """

    def __init__(self, connection: ServerConnection, client: AttachedClient) -> None:
        self._connection, self._client = connection, client
        self._may_ask = not isinstance(client, LookingClient)
        self._desk = Desk(client)
        self._painter = Painter()
        self._size: tuple[int, int] | None = None
        self._due, self._sized = asyncio.Event(), asyncio.Event()
        self._is_over = False

    async def run(self) -> None:
        """Show until the page, the watch or the owner is gone."""
        tasks = {asyncio.create_task(self._hear()), asyncio.create_task(self._show())}
        try:
            done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.wait(tasks)
        for task in done:
            with suppress(ConnectionClosed):
                task.result()

    def end(self) -> None:
        """Paint once more, and close."""
        self._is_over = True
        self._due.set()

    async def _hear(self) -> None:
        try:
            async for message in self._connection:
                self._take(heard(message))
                await asyncio.sleep(BETWEEN_MESSAGES_S)
        except NotUnderstoodError as error:
            await close(self._connection, CloseCode.POLICY_VIOLATION, f"not understood: {error}")

    def _take(self, said: Pressed | Sized) -> None:
        if isinstance(said, Sized):
            self._size = said.bounded
            self._sized.set()
        elif not self._may_ask and asks(self._desk.view, said.key):
            assert isinstance(self._client, LookingClient)  # noqa: S101 -- that is why it may not
            self._client.refuse()
        else:
            self._desk.press(said.key)
        self._due.set()

    async def _show(self) -> None:
        try:
            async with asyncio.timeout(FIRST_S):
                await self._sized.wait()
        except TimeoutError:
            await close(self._connection, CloseCode.POLICY_VIOLATION, "it did not tell its size")
            return
        while not self._desk.is_left:
            self._due.clear()
            has_ended, is_over = self._client.ended is not None, self._is_over
            await self._paint()
            if has_ended or is_over:
                told = (GONE, "the watch has ended") if has_ended else (CloseCode.GOING_AWAY, "no longer served")
                await close(self._connection, *told)
                return
            with suppress(TimeoutError):
                async with asyncio.timeout(1 / HZ):
                    await self._due.wait()
        await close(self._connection, LEFT, "left")

    async def _paint(self) -> None:
        assert self._size is not None  # noqa: S101 -- it has been waited for
        self._desk.take_newest()
        view, (width, height) = self._desk.view, self._size
        message = self._painter.message(
            self._lines(width, height),
            width,
            title=title(view),
            keys=buttons(view, may_ask=self._may_ask),
            typing=view.finding is not None,
            note=self._client.note if isinstance(self._client, LookingClient) else "",
        )
        if not message:
            return
        await self._send(message)

    def _lines(self, width: int, height: int) -> Sequence[Line]:
        """The screen without its line of keys, which the page has as buttons; a question stays."""
        view = self._desk.view
        if view.question is not None or view.finding is not None:
            return self._desk.lines(width, height)
        return self._desk.lines(width, height + 1)[:height]

    async def _send(self, message: bytes) -> None:
        try:
            async with asyncio.timeout(UNREAD_S):
                await self._connection.send(message, text=True)
        except TimeoutError:
            self._connection.transport.abort()


def title(view: View) -> str:
    """What the browser shows of a page that is not looked at: the most urgent alert."""
    if view.ended is not None:
        return "ENDED strandwatch"
    if not view.alerts:
        return "strandwatch"
    first, more = view.alerts[0], len(view.alerts) - 1
    return f"{SYMBOL[first.priority]} {first.priority.name} {first.subject}" + (f" and {more} more" if more else "")


async def close(connection: ServerConnection, code: int, reason: str) -> None:
    """Close, with a reason as long as a close frame can hold."""
    text = clean_text(reason, _LONGEST_REASON).encode()[:_LONGEST_REASON].decode(errors="ignore")
    await connection.close(code, text)
