"""Lets screens attach to a running watch, any number within reason, and none can disturb it.

Owns the socket while the watch runs, and the beat at which the newest state goes out: made once for all screens, a few
times a second, and not at all while none is attached. Knows nothing of engines, recorders or how a screen looks.
"""

import asyncio
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Final

from connectors.clean_text import clean_text
from monitor.attach.place import NotOfferedError, Place, listen
from monitor.attach.screen import AttachedScreen, Watched
from monitor.attach.wire import News, framed
from monitor.core.assessment import Assessment

HZ: Final = 4.0
"""How often the newest state goes out at most [1/s]."""

PAST_HZ: Final = 20.0
"""How often a piece of the past goes out to a screen that has come [1/s]: a whole one has some twenty."""

MOST_SCREENS: Final = 32

TEND_S: Final = 5.0
"""How often the socket is looked after [s]."""

PARTING_S: Final = 1.0
"""How long the last words may take at the end [s]."""

_FULL: Final = f"{MOST_SCREENS} screens are attached already, and it takes no more"


class AttachServer:
    """Offers a watch to screens from `open` to `close`.

    Parameters
    ----------
    watch : Watched
        The watch.
    machine : str
        The machine's name.
    where : sequence of Path or None
        Directories for the socket, best first; None for `monitor.attach.place.directories`.
    hz : float
        How often the newest state goes out at most [1/s].
    """

    def __init__(self, watch: Watched, machine: str, *, where: Sequence[Path] | None = None, hz: float = HZ) -> None:
        self._watch, self._machine, self._where, self._hz = watch, clean_text(machine), where, hz
        self._place: Place | None = None
        self._server: asyncio.Server | None = None
        self._tasks: list[asyncio.Task[None]] = []
        self._connected: set[AttachedScreen] = set()
        self._shown: set[AttachedScreen] = set()
        self._changed = asyncio.Event()
        self._told: tuple[Assessment | None, str, str | None] | None = None
        self._frame, self._number = b"", 0
        self.notice = ""
        """Why no screen can be attached; empty when they can."""

    @property
    def path(self) -> Path | None:
        """Where it listens; None while it does not."""
        return None if self._place is None else self._place.path

    @property
    def attached(self) -> int:
        """How many screens are attached."""
        return len(self._shown)

    async def open(self) -> None:
        """Begin to listen; never raises, but tells by `notice`."""
        await self._listen()
        self._tasks = [asyncio.create_task(self._tend()), asyncio.create_task(self._beat())]

    async def close(self, reason: str) -> None:
        """Tell all screens why the watch is over, and be gone within about a second."""
        for task in self._tasks:
            task.cancel()
        if self._tasks:
            await asyncio.wait(self._tasks)
        self._close_listener()
        self._send()
        for screen in tuple(self._connected):
            screen.leave(reason)
        with suppress(TimeoutError):
            async with asyncio.timeout(PARTING_S):
                await self._all_gone()
        for screen in tuple(self._connected):
            screen.drop()
        await self._all_gone()  # what is aborted goes in the loop's next round

    async def _all_gone(self) -> None:
        while self._connected:
            self._changed.clear()
            await self._changed.wait()

    async def _listen(self) -> None:
        try:
            self._place = listen(self._machine, self._where)
        except NotOfferedError as error:
            self.notice = f"no screen can be attached: {error}"
            return
        self.notice = ""
        self._server = await asyncio.get_running_loop().create_unix_server(self._connection, sock=self._place.listener)

    def _close_listener(self) -> None:
        if self._server is not None:
            self._server.close()
        if self._place is not None:
            self._place.leave()
        self._server = self._place = None

    def _connection(self) -> AttachedScreen:
        full = _FULL if len(self._connected) >= 2 * MOST_SCREENS else ""
        screen = AttachedScreen(self._watch, self._machine, self._admit, self._lost, full)
        self._connected.add(screen)
        return screen

    def _admit(self, screen: AttachedScreen) -> str:
        if len(self._shown) >= MOST_SCREENS:
            return _FULL
        self._shown.add(screen)
        self._changed.set()
        return ""

    def _lost(self, screen: AttachedScreen) -> None:
        self._connected.discard(screen)
        self._shown.discard(screen)
        self._changed.set()

    async def _tend(self) -> None:
        """Offer the watch anew where its socket has vanished: the directory may go when its owner logs out."""
        while True:
            await asyncio.sleep(TEND_S)
            if self._place is None or not self._place.is_there:
                self._close_listener()
                await self._listen()

    async def _beat(self) -> None:
        while True:
            if self._shown:
                self._send()
                is_told = any(screen.is_told_the_past for screen in self._shown)
                await asyncio.sleep(1 / max(self._hz, PAST_HZ if is_told else 0.0))
            else:
                self._changed.clear()
                await self._changed.wait()

    def _send(self) -> None:
        """Show the newest state to all; should that fail, no screen is left, and the watch goes on."""
        if not self._shown:
            return
        try:
            self._renew()
            for screen in tuple(self._shown):
                screen.show(self._frame, self._number)
        except Exception as error:  # noqa: BLE001 -- whatever fails of a screen must not end the watch of a night
            self._watch.take_fault("attached screens", error)
            for screen in tuple(self._connected):
                screen.leave("strandwatch itself failed; the watch goes on")

    def _renew(self) -> None:
        state = (self._watch.latest, self._watch.notice, self._watch.ended)
        told = self._told
        if told is not None and state[0] is told[0] and state[1:] == told[1:]:
            return
        self._told = state
        self._number += 1
        self._frame = framed(News(*state))
