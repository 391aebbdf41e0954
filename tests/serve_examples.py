"""A watch that is served to browsers, and pages made by hand: requests and frames as a test wants them."""

import asyncio
import json
import os
from collections.abc import AsyncIterator, Iterator, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from websockets.frames import Frame, Opcode

from monitor.attach.server import AttachServer
from monitor.serve.address import Listening
from monitor.serve.beside import Beside
from monitor.serve.choice import Choice
from monitor.serve.replies import cookie_name
from monitor.serve.server import ScreenServer
from monitor.serve.token import Token
from monitor.session import Session
from tests.attach_examples import SAFETY_S, until
from tests.bytes_sent import Ledger, gather
from tests.notify_examples import free_port

TOKEN = Token("s3cret-page-token-6f21-nobody-can-guess")


@pytest.fixture
def no_machine() -> Iterator[None]:
    """Keep what pages say to us out of the run's ledger of what is said to machines."""
    with pytest.MonkeyPatch.context() as patch:
        gather(Ledger(), patch)
        yield


@dataclass
class Served:
    """A watch that is served."""

    server: ScreenServer
    choice: Choice
    attached: AttachServer

    @property
    def port(self) -> int:
        """Where."""
        return self.choice.listening.port

    @property
    def origin(self) -> str:
        """Of its own page."""
        return f"http://127.0.0.1:{self.port}"

    def headers(self, **changed: str | None) -> dict[str, str]:
        """What a browser with the page says when it opens the websocket; None leaves a header out."""
        told = {
            "Host": f"127.0.0.1:{self.port}",
            "Origin": self.origin,
            "Cookie": f"{cookie_name(self.port)}={self.choice.token.pass_text}",
        }
        return {name: value for name, value in {**told, **changed}.items() if value is not None}


@asynccontextmanager
async def served(session: Session, directory: Path, **choice: Any) -> AsyncIterator[Served]:  # noqa: ANN401 -- of a Choice
    """Have a session run that is served."""
    chosen = Choice(Listening("127.0.0.1", free_port()), TOKEN, **choice)
    attached = AttachServer(session, "the bench", where=[directory], hz=100.0)
    server = ScreenServer(chosen, lambda: attached.path, session.take_fault)
    session.serve_with(Beside(attached, server))
    watch = asyncio.create_task(session.run())
    try:
        await until(lambda: server._server is not None or bool(server.notice))
        yield Served(server, chosen, attached)
    finally:
        session.stop("the test is over")
        await watch


@dataclass
class Answer:
    """What came back on a request."""

    status: int
    headers: Mapping[str, str]
    body: bytes


async def asked(port: int, target: str, headers: Mapping[str, str], method: str = "GET") -> Answer:
    """Ask as a browser would; the connection is closed by the server."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    try:
        writer.write(request(target, headers, method))
        async with asyncio.timeout(SAFETY_S):
            whole = await reader.read()
    finally:
        writer.close()
    head, _, body = whole.partition(b"\r\n\r\n")
    first, *lines = head.decode("latin-1").split("\r\n")
    return Answer(int(first.split()[1]), dict(line.split(": ", 1) for line in lines), body)


def request(target: str, headers: Mapping[str, str], method: str = "GET") -> bytes:
    """A request as it is sent."""
    lines = [f"{method} {target} HTTP/1.1", *(f"{name}: {value}" for name, value in headers.items())]
    return "\r\n".join([*lines, "", ""]).encode("latin-1")


@dataclass
class HandPage:
    """A page's websocket, by hand."""

    reader: asyncio.StreamReader
    writer: asyncio.StreamWriter
    shown: dict[int, list[Any]] = field(default_factory=dict)
    told: dict[str, Any] = field(default_factory=dict)
    code: int | None = None
    reason: str = ""

    def say(self, message: str | bytes) -> None:
        """Send a message."""
        kind = Opcode.TEXT if isinstance(message, str) else Opcode.BINARY
        data = message.encode() if isinstance(message, str) else message
        self.writer.write(Frame(kind, data).serialize(mask=True))

    def press(self, key: str) -> None:
        """Press a key."""
        self.say(json.dumps({"say": "key", "key": key}))

    def size(self, columns: int = 80, rows: int = 24) -> None:
        """Tell a size."""
        self.say(json.dumps({"say": "size", "columns": columns, "rows": rows}))

    @property
    def text(self) -> str:
        """What stands on the page."""
        return "\n".join("".join(self.shown[y][::2]) for y in sorted(self.shown))

    async def next(self) -> bool:
        """Take in one message; False when the connection is closed."""
        try:
            kind, data = await self._frame()
        except (asyncio.IncompleteReadError, ConnectionError):
            return False
        if kind == Opcode.CLOSE:
            self.code, self.reason = int.from_bytes(data[:2], "big"), data[2:].decode()
            self.writer.write(Frame(Opcode.CLOSE, data[:2]).serialize(mask=True))
        elif kind == Opcode.PING:
            self.writer.write(Frame(Opcode.PONG, data).serialize(mask=True))
        else:
            self._take(json.loads(data))
        return True

    async def until(self, words: str) -> None:
        """Take in messages until these words stand on the page."""
        async with asyncio.timeout(SAFETY_S):
            while words not in self.text:
                assert await self.next(), f"closed: {self.code} {self.reason}"

    async def until_told(self, name: str, value: object) -> None:
        """Take in messages until this was told."""
        async with asyncio.timeout(SAFETY_S):
            while self.told.get(name) != value:
                assert await self.next(), f"closed: {self.code} {self.reason}"

    async def until_closed(self) -> tuple[int | None, str]:
        """Take in all there is; code and reason of the end."""
        async with asyncio.timeout(SAFETY_S):
            while await self.next():
                pass
        return self.code, self.reason

    def _take(self, message: dict[str, Any]) -> None:
        if "size" in message:
            self.shown = {y: [] for y in range(message["size"][1])}
        self.shown |= {y: parts for y, *parts in message.get("rows", [])}
        self.told |= message

    async def _frame(self) -> tuple[int, bytes]:
        first, length = await self.reader.readexactly(2)
        if length > 125:  # RFC 6455, section 5.2
            length = int.from_bytes(await self.reader.readexactly({126: 2, 127: 8}[length]), "big")
        return first & 0x0F, await self.reader.readexactly(length)


@asynccontextmanager
async def hand_page(served: Served, *, sized: bool = True) -> AsyncIterator[HandPage]:
    """Open the websocket as the page does."""
    reader, writer = await asyncio.open_connection("127.0.0.1", served.port, limit=1 << 20)
    upgrade = {"Upgrade": "websocket", "Connection": "Upgrade", "Sec-WebSocket-Version": "13"}
    key = {"Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ=="}  # RFC 6455, section 1.3
    writer.write(request(f"{TOKEN.path}live", {**served.headers(), **upgrade, **key}))
    head = await reader.readuntil(b"\r\n\r\n")
    assert head.startswith(b"HTTP/1.1 101 "), head
    assert b"s3pPLMBiTxaQ9kYGzzhZRbK+xOo=" in head
    page = HandPage(reader, writer)
    try:
        if sized:
            page.size()
        yield page
    finally:
        writer.transport.abort()


async def upgraded(served: Served, target: str, headers: Mapping[str, str]) -> Answer:
    """Try to open the websocket; what is answered when it is refused."""
    upgrade = {"Upgrade": "websocket", "Connection": "Upgrade", "Sec-WebSocket-Version": "13"}
    return await asked(served.port, target, {**headers, **upgrade, "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ=="})


def descriptors() -> int:
    """How many this process has open."""
    return len(os.listdir("/proc/self/fd"))  # noqa: PTH208 -- names are enough
