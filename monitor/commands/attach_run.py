"""Runs `attach`: finds the watch that is meant, and shows it on a screen of this process."""

import argparse
import asyncio
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from connectors.clean_text import clean_text
from monitor.attach.client import AttachedClient, AttachError, look
from monitor.attach.place import SUFFIX, sockets
from monitor.attach.wire import Hello
from monitor.commands.serve_choice import serve_choice
from monitor.commands.serve_run import serve_watch
from monitor.exit_codes import DONE, WrongUseError
from monitor.output import Output
from monitor.terminal_call import TerminalCall
from monitor.tui.terminal.choices import can_show_screen


class Running(NamedTuple):
    """A watch that was found: its socket, and what it said of itself or why it said nothing."""

    path: Path
    hello: Hello | None
    problem: str

    @property
    def name(self) -> str:
        """What the owner may call it."""
        return clean_text(self.path.name.removesuffix(SUFFIX))

    @property
    def line(self) -> str:
        """What tells it from others, in one line."""
        if self.hello is None:
            return f"{self.name}: {self.problem}"
        return f"{self.name}: {clean_text(self.hello.machine)}, from {clean_text(self.hello.source)}"


def run(arguments: argparse.Namespace) -> int:
    """Show a running watch until the owner leaves, or list all."""
    choice = serve_choice(arguments)
    found = asyncio.run(_introduced(_paths(arguments.name)))
    if arguments.list:
        print("\n".join(watch.line for watch in found) or "no watch of yours is running")
        return DONE
    chosen = _chosen(found, arguments.name)
    if choice is not None:
        serve_watch(chosen.path, choice)
        return DONE
    if not can_show_screen():
        raise WrongUseError("attach shows a screen, and there is no terminal for one (attach --list needs none)")
    client = AttachedClient(chosen.path, _terminal())
    asyncio.run(_show(client, arguments))
    _tell(client)
    return DONE


def _paths(name: str | None) -> list[Path]:
    return [Path(name)] if name is not None and "/" in name else sockets()


async def _introduced(paths: Sequence[Path]) -> list[Running]:
    return list(await asyncio.gather(*map(_introduce, paths)))


async def _introduce(path: Path) -> Running:
    try:
        return Running(path, await look(path), "")
    except AttachError as error:
        return Running(path, None, str(error))
    except OSError as error:
        return Running(path, None, f"cannot be reached: {error.strerror or error}")


def _chosen(found: Sequence[Running], name: str | None) -> Running:
    fitting = [watch for watch in found if name is None or _fits(watch, name)]
    exact = [watch for watch in fitting if watch.name == name]
    if len(exact or fitting) == 1:
        return (exact or fitting)[0]
    listed = "".join(f"\n  {watch.line}" for watch in (fitting or found))
    if fitting:
        raise WrongUseError(f"{len(fitting)} watches fit; say which, by its name or process number:{listed}")
    if found:
        raise WrongUseError(f"no watch of yours is called {name!r}. Running:{listed}")
    raise WrongUseError(
        "no watch of yours is running, or it is one of another user's. Start one (strandwatch watch --profile FILE);"
        " that of a service is seen by its own user (sudo -u strandwatch strandwatch attach)"
    )


def _fits(watch: Running, name: str) -> bool:
    if "/" in name:
        return True
    pid = "" if watch.hello is None else str(watch.hello.pid)
    return name == pid or watch.name.startswith(name)


async def _show(client: AttachedClient, arguments: argparse.Namespace) -> None:
    try:
        await client.connect()
    except AttachError as error:
        raise WrongUseError(str(error)) from None
    except OSError as error:
        raise WrongUseError(f"{clean_text(str(client.path))}: cannot be reached: {error.strerror or error}") from None
    from monitor.tui.app import show  # noqa: PLC0415 -- slow to import, and only worth it once somebody answers

    try:
        await show(
            client,
            ascii_only=True if arguments.ascii else None,
            colour=False if arguments.no_color else None,
            owns_watch=False,
            call=TerminalCall(bell=not arguments.no_bell, notices=arguments.osc_notify),
            mouse=arguments.mouse,
        )
    finally:
        await client.close()


def _terminal() -> str:
    """Name of the terminal that the keys come from, as in 'pts/3'."""
    try:
        return os.ttyname(sys.__stdin__.fileno()).removeprefix("/dev/") if sys.__stdin__ is not None else ""
    except (OSError, ValueError):
        return ""


def _tell(client: AttachedClient) -> None:
    ending = "screen left; the watch goes on" if client.ended is None else f"the watch has ended: {client.ended}"
    Output(sys.stdout, sys.stderr).line(ending)  # the terminal may be gone by now, which is no fault
