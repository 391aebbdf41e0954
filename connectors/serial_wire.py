"""An open serial port as a source of bytes with their time of receipt, and as a way out for queries.

Two kinds: one that only listens on a read-only file descriptor, one that also asks, on pyserial-asyncio. Owns the
registration with the event loop and the clean end. Knows nothing of replies.
"""

import asyncio
import os
from contextlib import suppress
from typing import Final, Protocol

import serial
import serial_asyncio

from connectors.link import Clock
from connectors.serial_port import release
from connectors.serial_queries import Query

MOST_PENDING_BYTES: Final = 256 * 1024
_READ_BYTES: Final = 64 * 1024
_CLOSE_WITHIN_S: Final = 1.0

Chunk = tuple[float, bytes]


class WireLostError(Exception):
    """The open port went away; the text says how it showed."""


class Wire(Protocol):
    """An open port."""

    async def read(self, wait_s: float) -> list[Chunk]:
        """(Time of receipt, bytes) of what arrived within `wait_s`; raises `WireLostError` once all is handed out."""
        ...

    def send(self, query: Query) -> None:
        """Send a query of the allow-list; nothing else can be sent."""
        ...

    async def close(self) -> None:
        """Close the port without waiting for anything unsent."""
        ...


class _Inbox:
    """What arrived and was not fetched yet. Asks the sender to pause when too much is waiting."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._chunks: list[Chunk] = []
        self._pending_bytes = 0
        self._news = asyncio.Event()
        self._lost: str | None = None

    @property
    def is_full(self) -> bool:
        return self._pending_bytes >= MOST_PENDING_BYTES

    def put(self, data: bytes) -> None:
        self._chunks.append((self._clock(), data))
        self._pending_bytes += len(data)
        self._news.set()

    def lose(self, reason: str) -> None:
        self._lost = reason
        self._news.set()

    async def take(self, wait_s: float) -> list[Chunk]:
        with suppress(TimeoutError):
            async with asyncio.timeout(wait_s):
                await self._news.wait()
        chunks, self._chunks, self._pending_bytes = self._chunks, [], 0
        if self._lost is None:
            self._news.clear()
        elif not chunks:
            raise WireLostError(self._lost)
        return chunks


class ListeningWire:
    """A port that the operating system lets nobody write to through this descriptor."""

    def __init__(self, fd: int, clock: Clock) -> None:
        self._fd = fd
        self._inbox = _Inbox(clock)
        self._is_paused = False
        self._loop = asyncio.get_running_loop()
        self._loop.add_reader(fd, self._fetch)

    async def read(self, wait_s: float) -> list[Chunk]:
        """See `Wire`."""
        chunks = await self._inbox.take(wait_s)
        if self._is_paused:
            self._is_paused = False
            self._loop.add_reader(self._fd, self._fetch)
        return chunks

    def send(self, query: Query) -> None:
        """Raise: this port only listens."""
        raise RuntimeError(f"{query.name} cannot be sent: the port was opened for listening only")

    async def close(self) -> None:
        """See `Wire`."""
        self._loop.remove_reader(self._fd)
        release(self._fd)
        os.close(self._fd)

    def _fetch(self) -> None:
        try:
            data = os.read(self._fd, _READ_BYTES)
        except (BlockingIOError, InterruptedError):
            return
        except OSError as error:
            self._lose(error.strerror or str(error))
            return
        if not data:
            self._lose("end of data")
            return
        self._inbox.put(data)
        if self._inbox.is_full:
            self._is_paused = True
            self._loop.remove_reader(self._fd)

    def _lose(self, reason: str) -> None:
        self._loop.remove_reader(self._fd)
        self._inbox.lose(reason)


class AskingWire(asyncio.Protocol):
    """A port that queries go out to, one at a time."""

    def __init__(self, opened: serial.Serial, clock: Clock) -> None:
        self._inbox = _Inbox(clock)
        self._closed = asyncio.Event()
        self._opened = opened
        self._transport: serial_asyncio.SerialTransport = serial_asyncio.SerialTransport(
            asyncio.get_running_loop(), self, opened
        )

    async def read(self, wait_s: float) -> list[Chunk]:
        """See `Wire`."""
        chunks = await self._inbox.take(wait_s)
        self._transport.resume_reading()
        return chunks

    def send(self, query: Query) -> None:
        """Send a query, unless an earlier one still waits to be taken by the device."""
        if self._transport.get_write_buffer_size() == 0:
            self._transport.write(query.value)

    async def close(self) -> None:
        """See `Wire`."""
        with suppress(OSError):
            release(self._opened.fileno())
        if not self._transport.is_closing():  # a second end would find the port gone
            self._transport.abort()
        with suppress(TimeoutError):
            async with asyncio.timeout(_CLOSE_WITHIN_S):
                await self._closed.wait()

    def data_received(self, data: bytes) -> None:
        """Called by the transport."""
        self._inbox.put(data)
        if self._inbox.is_full:
            self._transport.pause_reading()

    def connection_lost(self, exc: Exception | None) -> None:
        """Called by the transport."""
        self._inbox.lose("closed" if exc is None else str(exc))
        self._closed.set()
