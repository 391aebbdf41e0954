"""What is around a watch in a soak and must not disturb it: a troubled disk, screens, channels, an owner who asks.

Owns the troubles. Knows nothing of what a watch concludes.
"""

import asyncio
import errno
import os
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Final
from unittest.mock import patch

from monitor.attach.client import AttachedClient, AttachError
from monitor.attach.server import AttachServer
from monitor.attach.wire import framed, hello
from monitor.core.alert_types import Priority, RequestKind
from monitor.notify.attempt import Channel, Letter, Outcome
from monitor.notify.plan import NotifyPlan
from monitor.session import Session

ROOT: Final = Path(__file__).parent.parent
SCREENS: Final = 4
"""So many come and go at the same time."""
_FULL: Final = (errno.ENOSPC, errno.EIO, errno.EROFS, errno.EDQUOT)
FASTER: Final = 1000.0
"""Pauses between attempts to send pass so many times faster: the machine's time does as well."""


@dataclass
class TroubledDisk:
    """A disk that takes lines in parts, is slow or fails to sync; where it `loses`, it fills up now and then."""

    random: Random
    loses: bool
    file: Callable[[], int]
    full: int = 0
    broken: int = 0
    troubles: int = 0

    @contextmanager
    def mounted(self) -> Iterator[None]:
        """Have the recorder's file lie on it."""
        write, sync = os.write, os.fdatasync

        def troubled_write(descriptor: int, data: bytes) -> int:
            return write(descriptor, data if descriptor != self.file() else self._taken(data))

        def troubled_sync(descriptor: int) -> None:
            if descriptor == self.file():
                self._sync()
            sync(descriptor)

        with patch("os.write", troubled_write), patch("os.fdatasync", troubled_sync):
            yield

    def _taken(self, data: bytes) -> bytes:
        dice = self.random.random()
        if self.loses and self.full == 0 and dice < 0.001:
            self.full, self.troubles = self.random.randrange(1, 6), self.troubles + 1
        if self.full:
            self.full -= 1
            raise OSError(self.random.choice(_FULL), "the soak's disk takes nothing")
        return data[: self.random.randrange(1, len(data))] if dice < 0.01 and len(data) > 1 else data

    def _sync(self) -> None:
        dice = self.random.random()
        if dice < 0.2:
            time.sleep(0.05)
        if dice < 0.1:
            self.troubles += 1
            raise OSError(errno.EIO, "the soak's disk does not sync")


@dataclass
class Post:
    """Channels: one that works, one that fails half of the time, one that hangs until the soak is over."""

    random: Random
    over: threading.Event = field(default_factory=threading.Event)
    letters: int = 0

    def plan(self) -> NotifyPlan:
        """The channels of a watch."""
        works = Channel("works", Priority.CAUTION, self._works)
        fails = Channel("fails", Priority.CAUTION, self._fails)
        return NotifyPlan((works, fails, Channel("hangs", Priority.WARNING, self._hangs, after_s=600.0)))

    async def wait(self, seconds: float) -> None:
        """Pass a pause."""
        await asyncio.sleep(seconds / FASTER)

    def _works(self, _letter: Letter) -> Outcome:
        self.letters += 1
        return None

    def _fails(self, _letter: Letter) -> Outcome:
        if self.random.random() < 0.25:
            raise ValueError("the soak's service is broken")
        return None if self.random.random() < 0.5 else "refused with status 503"

    def _hangs(self, _letter: Letter) -> Outcome:
        self.over.wait()
        return "it hung"


class Screens:
    """Screens in a process of their own that come and go: some look and leave, some are cut off, some read nothing.

    Of those that look, some ask. What they did is read from a file that the process writes.
    """

    def __init__(self, noted: Path, seed: int) -> None:
        self._noted, self._seed = noted, seed
        self._process: subprocess.Popen[bytes] | None = None

    async def begin(self, server: AttachServer) -> None:
        """Have them come, once the watch can be attached to."""
        while server.path is None:  # noqa: ASYNC110 -- it has nothing to wait on
            await asyncio.sleep(0.01)
        command = [sys.executable, "-m", "tests.soak_company", str(server.path), str(self._seed)]
        with self._noted.open("wb") as noted:
            self._process = subprocess.Popen(command, stdout=noted, cwd=ROOT)  # noqa: ASYNC220, S603 -- ourselves

    def end(self) -> None:
        """Kill them all."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()

    @property
    def told(self) -> str:
        """How many came, and what they did."""
        counts = Counter(self._noted.read_text(encoding="utf-8").split()) if self._noted.exists() else Counter[str]()
        return ", ".join(f"{what.replace('-', ' ')} {count}" for what, count in sorted(counts.items()))


class _Visitor:
    """One screen after another, until the process is ended."""

    def __init__(self, path: Path, random: Random) -> None:
        self._path, self._random = path, random

    async def come_and_go(self) -> None:
        """Attach again and again."""
        while True:
            await asyncio.sleep(self._random.uniform(0.0, 0.02))
            kind = self._random.choice([self._looks, self._looks, self._is_cut_off, self._reads_nothing])
            with suppress(AttachError, OSError):
                await kind()

    async def _looks(self) -> None:
        client = AttachedClient(self._path, "pts/7")
        await client.connect()
        _note("looked")
        try:
            for _ in range(self._random.randrange(1, 20)):
                await asyncio.sleep(0.01)
                self._ask(client)
        finally:
            await client.close()

    def _ask(self, client: AttachedClient) -> None:
        latest = client.latest
        if latest is not None and latest.alerts and self._random.random() < 0.2:
            alert = self._random.choice(latest.alerts)
            kind = self._random.choice([RequestKind.ACKNOWLEDGE, RequestKind.SHELVE, RequestKind.RESET])
            client.ask(kind, alert.id, reason="the soak asks", for_s=600.0)
            _note("asked")

    async def _is_cut_off(self) -> None:
        reader, writer = await asyncio.open_unix_connection(str(self._path))
        writer.write(framed(hello(1)))
        with suppress(ConnectionError):
            await reader.read(self._random.randrange(1, 40_000))
        writer.transport.abort()
        _note("cut-off")

    async def _reads_nothing(self) -> None:
        _, writer = await asyncio.open_unix_connection(str(self._path))
        writer.transport.pause_reading()  # type: ignore[attr-defined]  # a socket's transport can
        writer.write(framed(hello(1)))
        await asyncio.sleep(self._random.uniform(0.0, 0.5))
        writer.transport.abort()
        _note("read-nothing")


def _note(what: str) -> None:
    os.write(1, f"{what}\n".encode())


async def _visit(path: Path, seed: int) -> None:
    visitors = (_Visitor(path, Random(f"{seed} {number}")) for number in range(SCREENS))  # noqa: S311 -- must repeat
    await asyncio.gather(*(visitor.come_and_go() for visitor in visitors))


def owner_asks(session: Session, random: Random) -> None:
    """The owner at the watch's own screen says something of an alert, if there is one."""
    latest = session.latest
    if latest is not None and latest.alerts:
        session.ask(RequestKind.ACKNOWLEDGE, random.choice(latest.alerts).id)


if __name__ == "__main__":
    asyncio.run(_visit(Path(sys.argv[1]), int(sys.argv[2])))
