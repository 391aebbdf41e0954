"""Serves a watch to browsers: beside the watch in its own process, or from a process of its own that attaches to it."""

import asyncio
import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Final

from connectors.clean_text import clean_text
from monitor.attach.place import SUFFIX, is_stale, sockets
from monitor.attach.server import AttachServer
from monitor.commands.serve_choice import served_words
from monitor.serve.choice import Choice
from monitor.session import Session
from monitor.session_parts import Serving
from monitor.stopping import ending_signals

_NOTICE_S: Final = 1.0
"""How often it is looked whether there is something to tell [s]."""


def doors(session: Session, machine: str, choice: Choice | None) -> Serving:
    """What lets screens in, and browsers where the owner chose so."""
    attached = AttachServer(session, machine)
    if choice is None:
        return attached
    from monitor.serve.beside import Beside  # noqa: PLC0415 -- slow to import, and seldom needed
    from monitor.serve.server import ScreenServer  # noqa: PLC0415

    return Beside(attached, ScreenServer(choice, lambda: attached.path, session.take_fault))


def serve_watch(path: Path, choice: Choice) -> None:
    """Serve a watch of another process until the owner ends this one; the watch goes on."""
    with served_words(choice) as told:
        for line in (*told, "Ctrl-C ends this; the watch goes on"):
            print(line, flush=True)
        asyncio.run(_served(choice, Finder(path)))


async def _served(choice: Choice, find: Callable[[], Path | None]) -> None:
    from monitor.serve.server import ScreenServer  # noqa: PLC0415 -- as above

    server, is_over, notice = ScreenServer(choice, find, _tell_fault), asyncio.Event(), ""
    with ending_signals(lambda _: is_over.set()):
        await server.open()
        while not is_over.is_set():
            if server.notice != notice:
                notice = server.notice
                _tell(notice or "a browser can look on again")
            try:
                async with asyncio.timeout(_NOTICE_S):
                    await is_over.wait()
            except TimeoutError:
                continue
        await server.close()


def _tell_fault(what: str, error: Exception) -> None:
    _tell(f"{what} failed and is left out ({clean_text(repr(error))}). Please report this")


def _tell(text: str) -> None:
    print(f"strandwatch: {text}", file=sys.stderr, flush=True)


class Finder:
    """Finds a watch again that was started anew: another process, but the same machine."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def __call__(self) -> Path | None:
        """Socket of the watch that runs now; None when there is none, or when it cannot be told which it is."""
        if _lives(self._path):
            return self._path
        fitting = [path for path in sockets() if _machine(path) == _machine(self._path) and _lives(path)]
        if len(fitting) != 1:
            return None
        self._path = fitting[0]
        return self._path


def _lives(path: Path) -> bool:
    return path.is_socket() and not is_stale(path)


def _machine(path: Path) -> str:
    """What of a socket's name is the machine's.

    >>> _machine(Path("/run/user/1000/strandwatch/the-bench-417.sock"))
    'the-bench'
    """
    return re.sub(r"-\d+$", "", path.name.removesuffix(SUFFIX))
