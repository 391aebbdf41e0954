"""A controller on a serial port as a stream of events: opens, reads, asks if allowed, and reopens what was lost.

A thin asynchronous shell around `SerialProtocol`. Owns the life of the connection and its words; knows nothing of what
lines mean.
"""

import asyncio
from collections.abc import AsyncGenerator, AsyncIterator, Awaitable, Callable, Iterator
from contextlib import aclosing, suppress
from dataclasses import replace
from typing import Final

from connectors.clean_text import clean_text
from connectors.errors import LinkFailedError, SettingsError
from connectors.link import Clock, backoff, with_ticks
from connectors.serial_port import PortUnavailableError, close_port, open_port
from connectors.serial_protocol import SerialProtocol
from connectors.serial_settings import SerialSettings
from connectors.serial_wire import AskingWire, ListeningWire, Wire, WireLostError
from connectors.telemetry import Event, LinkChange

FIRST_PAUSE_S: Final = 0.25
BEAT_S: Final = 0.25


class SerialLink:
    """A serial port, kept open.

    Parameters
    ----------
    settings : SerialSettings
        The `[link]` table of the profile.
    clock : Clock
        Seconds on the watch's own clock.
    may_reset : bool
        The owner accepts that opening the port may restart the controller (`--i-know-open-may-reset`).
    wait_for_port : bool
        Keep trying when the port cannot be opened at first, instead of failing.
    beat_s : float
        Longest wait for bytes [s] before queries and silence are looked after.
    pause : Callable
        Waits between attempts to open.

    Raises
    ------
    SettingsError
        Opening the port may restart the controller, and neither the profile nor the owner says that it may be opened.
    """

    def __init__(
        self,
        settings: SerialSettings,
        clock: Clock,
        *,
        may_reset: bool = False,
        wait_for_port: bool = False,
        beat_s: float = BEAT_S,
        pause: Callable[[float], Awaitable[None]] = asyncio.sleep,
    ) -> None:
        if not (settings.open_is_safe or may_reset):
            raise SettingsError(
                f"opening {clean_text(settings.port)} may restart the controller and ruin a running build, so it was "
                "not opened. When no build is running, start with --i-know-open-may-reset; once you have seen that "
                "opening does not restart it, set link.open_is_safe = true in the profile"
            )
        self._settings = settings
        self._clock = clock
        self._waits_for_port = wait_for_port
        self._beat_s = beat_s
        self._pause = pause
        self._shown_port = clean_text(settings.port)
        self._has_worked = False
        self._told = ""
        self._pauses = self._short_pauses()
        self.protocol = SerialProtocol(settings)

    def _short_pauses(self) -> Iterator[float]:
        return backoff(FIRST_PAUSE_S, self._settings.reconnect_max_s)

    def events(self) -> AsyncIterator[Event]:
        """Yield events until closed; raises `LinkFailedError` when trying again cannot help."""
        return with_ticks(self._events(), self._clock)

    async def _events(self) -> AsyncIterator[Event]:
        while True:
            found = await self._try_to_open()
            if isinstance(found, LinkChange):
                yield found
            elif found is not None:
                async with aclosing(self._conversation(found)) as conversation:
                    async for event in conversation:
                        yield event
                self._refuse_to_reopen()
            await self._pause(next(self._pauses))

    async def _try_to_open(self) -> Wire | LinkChange | None:
        """An open port, or why there is none; None when that was told before."""
        try:
            wire = await self._open()
        except PortUnavailableError as error:
            if not self._has_worked and (error.is_hopeless or not self._waits_for_port):
                raise LinkFailedError(str(error)) from error
            is_news, self._told = self._told != str(error), str(error)
            return self._change(f"{error}; trying again", available=False) if is_news else None
        self._has_worked, self._told = True, ""
        return wire

    async def _conversation(self, wire: Wire) -> AsyncGenerator[Event, None]:
        """Events of an open port until it is lost; the last one says so."""
        try:
            yield self._opened()
            while True:
                for event in await self._step(wire):
                    yield event
        except WireLostError as lost:
            change = self._lost(str(lost))
        finally:
            await wire.close()
        yield change

    async def _open(self) -> Wire:
        """Open in a thread, because opening may take long; when cancelled meanwhile, close what still opens."""
        loop = asyncio.get_running_loop()
        settings = self._settings
        opening = loop.run_in_executor(None, open_port, settings.port, settings.baud, settings.mode)
        try:
            opened = await asyncio.shield(opening)
        except asyncio.CancelledError:
            with suppress(PortUnavailableError):
                close_port(await opening)
            raise
        return ListeningWire(opened, self._clock) if isinstance(opened, int) else AskingWire(opened, self._clock)

    async def _step(self, wire: Wire) -> list[Event]:
        events: list[Event] = []
        for time_s, data in await wire.read(self._beat_s):
            self._pauses = self._short_pauses()  # it lives: after the next loss, begin with short pauses again
            events += self.protocol.receive(data, time_s)
        now_s = self._clock()
        events += self.protocol.elapse(now_s)
        query = self.protocol.poll(now_s)
        if query is not None:
            wire.send(query)
        return events

    def _opened(self) -> LinkChange:
        """Tell that the port is open; what was fed while it was not is counted by nobody."""
        is_first = self.protocol.opened(self._clock())
        manner = "listening only" if self._settings.mode == "listen" else "asking for reports"
        reason = f"{self._shown_port} opened at {self._settings.baud} baud, {manner}"
        if self.protocol.lacks_tool:
            reason += "; which input feeds is not known until the controller names its active tool"
        return replace(self._change(reason, available=True), feed_unknown=not is_first)

    def _lost(self, reason: str) -> LinkChange:
        return self._change(
            f"{self._shown_port} went away: unplugged or switched off? ({clean_text(reason)}); trying to open it again",
            available=False,
        )

    def _refuse_to_reopen(self) -> None:
        if self.protocol.restarted_by_opening:
            raise LinkFailedError(
                f"{self._shown_port} was lost and is not reopened: opening it was seen to restart the controller, "
                "which would ruin a running build. Start the watch again when no build is running"
            )

    def _change(self, reason: str, *, available: bool) -> LinkChange:
        return LinkChange(self._clock(), available=available, reason=reason)
