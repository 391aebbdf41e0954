"""A running watch that offers itself to screens, raw connections to it, and whether two values are the same."""

import asyncio
import dataclasses
import math
import tempfile
from collections.abc import AsyncIterator, Callable, Iterable, Iterator, Mapping
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import numpy as np

from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import SCENARIOS
from connectors.telemetry import Event
from monitor.attach.client import AttachedClient
from monitor.attach.server import AttachServer
from monitor.attach.wire import Frames, FromWatch, Hello, framed, from_watch, hello
from monitor.config import demo_profile
from monitor.core.engine import Engine
from monitor.session import Session

SESSIONS: dict["HeldNight", Session] = {}
"""The sessions of nights that were made together with one."""

SAFETY_S = 20.0
"""Only a net: nothing waits this long when all is well."""


def same(one: Any, other: Any, at: str = "") -> None:  # noqa: ANN401 -- of any type
    """Assert that two values are the same to the last bit, and of the same types all the way down."""
    if isinstance(one, Mapping):
        assert isinstance(other, Mapping), at
        assert list(one) == list(other), at
        for key in one:
            same(one[key], other[key], f"{at}[{key!r}]")
        return
    if isinstance(one, np.generic):
        one = one.item()
    assert type(one) is type(other), f"{at}: {one!r} became {other!r}"
    if dataclasses.is_dataclass(one):
        for field in dataclasses.fields(one):
            same(getattr(one, field.name), getattr(other, field.name), f"{at}.{field.name}")
    elif isinstance(one, tuple):
        assert len(one) == len(other), at
        for index, parts in enumerate(zip(one, other, strict=True)):
            same(*parts, f"{at}[{index}]")
    else:
        _same_value(one, other, at)


def _same_value(one: Any, other: Any, at: str) -> None:  # noqa: ANN401 -- of any type
    if isinstance(one, np.ndarray):
        assert (one.dtype, one.shape, one.tobytes()) == (other.dtype, other.shape, other.tobytes()), at
        assert not other.flags.writeable, at
    else:
        assert one == other or (math.isnan(one) and math.isnan(other)), f"{at}: {one!r} became {other!r}"


async def until(happened: Callable[[], bool]) -> None:
    """Let the others run until something has happened; a screen polls in the same way."""
    async with asyncio.timeout(SAFETY_S):
        while not happened():  # noqa: ASYNC110 -- a client has nothing to wait on, by design
            await asyncio.sleep(0.005)


class HeldNight:
    """Events of the simulated night until `is_enough`; then silence, for ever or until released.

    They come as fast as they go, or with a rest of `rest_s` after each.
    """

    def __init__(
        self, scenario: str = "left-idle", is_enough: Callable[[], bool] = lambda: False, rest_s: float = 0.0
    ) -> None:
        self._rest_s = rest_s
        self._events: Iterable[Event] = simulate(SCENARIOS[scenario], 1, 4.0, 8 * 3600.0)
        self.is_enough = is_enough
        self.held, self.release = asyncio.Event(), asyncio.Event()

    async def events(self) -> AsyncIterator[Event]:
        """Yield them, a few at a time."""
        for number, event in enumerate(self._events):
            yield event
            if self.is_enough():
                break
            if number % 50 == 0 or self._rest_s:
                await asyncio.sleep(self._rest_s)
        self.held.set()
        await self.release.wait()


def session_of(night: HeldNight) -> Session:
    """Make a session over a simulated night."""
    return Session(night, Engine(demo_profile().parameters), name="simulated machine")


@asynccontextmanager
async def offered(session: Session, directory: Path, hz: float = 100.0) -> AsyncIterator[AttachServer]:
    """Have a session run that offers itself."""
    server = AttachServer(session, "the bench", where=[directory], hz=hz)
    session.serve_with(server)
    watch = asyncio.create_task(session.run())
    try:
        await until(lambda: server.path is not None or bool(server.notice))
        yield server
    finally:
        session.stop("the test is over")
        await watch


@asynccontextmanager
async def attached(server: AttachServer, terminal: str = "pts/7") -> AsyncIterator[AttachedClient]:
    """Have a screen's client attached."""
    assert server.path is not None
    client = AttachedClient(server.path, terminal)
    await client.connect()
    try:
        yield client
    finally:
        await client.close()


class Raw:
    """A connection that says what the test wants."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.reader, self.writer = reader, writer
        self._frames = Frames(8_000_000)

    def say(self, *parts: Any) -> None:  # noqa: ANN401 -- bytes or any message
        """Send bytes or messages."""
        for part in parts:
            self.writer.write(part if isinstance(part, bytes) else framed(part))

    def greet(self, **changes: Any) -> None:  # noqa: ANN401 -- any field
        """Introduce itself as a screen would, but for `changes`."""
        self.say(_changed(hello(1, terminal="pts/9"), changes))

    async def heard(self) -> list[FromWatch]:
        """Everything that it is told until the watch hangs up."""
        told = []
        async with asyncio.timeout(SAFETY_S):
            try:
                while data := await self.reader.read(65536):
                    told += [from_watch(body) for body in self._frames.feed(data)]
            except ConnectionError:
                pass
        return told


def _changed(who: Hello, changes: Mapping[str, Any]) -> Hello:
    return Hello(**{**{name: getattr(who, name) for name in Hello.__struct_fields__}, **changes})


@asynccontextmanager
async def raw(path: Path | None) -> AsyncIterator[Raw]:
    """Connect without any manners."""
    reader, writer = await asyncio.open_unix_connection(str(path))
    try:
        yield Raw(reader, writer)
    finally:
        writer.transport.abort()


def short_directory() -> Iterator[Path]:
    """Give a directory whose sockets have short enough paths whatever the test is called."""
    with tempfile.TemporaryDirectory(prefix="sw-") as directory:
        yield Path(directory) / "attach"


def two_hours() -> HeldNight:
    """Two hours of the night, then silence."""
    held = HeldNight()
    session = session_of(held)
    held.is_enough = lambda: session.time_s > 7_200.0
    SESSIONS[held] = session
    return held


async def alerted(scenario: str = "left-idle") -> tuple[HeldNight, Session]:
    """Make a night that stops at its first alert."""
    held = HeldNight(scenario)
    session = session_of(held)
    called: list[bool] = []
    session.observe(lambda step: called.extend(told.calls for told in step.transitions if told.calls))
    held.is_enough = lambda: bool(called)
    return held, session
