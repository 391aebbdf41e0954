"""One attached screen, seen from the watch: who it is, what it asks, and how much it has read.

It is given the newest state or nothing: while it has not read what was sent last, nothing more is sent, so that a slow
or stopped screen costs one message of memory and no time. What it sends is read with distrust.
"""

import asyncio
import os
import re
import socket
from collections.abc import Callable, Iterator
from typing import Final, Protocol

from connectors.clean_text import clean_text
from monitor.attach.place import user_at_other_end
from monitor.attach.wire import (
    LONGEST_FROM_SCREEN,
    Ask,
    Bye,
    Frames,
    FromWatch,
    Hello,
    Past,
    Refused,
    WireError,
    framed,
    from_screen,
    hello,
    is_understood,
    mismatch_text,
)
from monitor.core.alert_types import RequestKind
from monitor.core.assessment import Assessment
from monitor.history.memory import History, Piece

PATIENCE_S: Final = 5.0
"""How long a message may take from its first byte to its last, and the first one to come [s]."""

UNREAD_S: Final = 10.0
"""A screen that has read nothing for so long is let go [s]; it comes back by itself when it can."""

BETWEEN_REQUESTS_S: Final = 0.05
"""Spacing of what is read after a request [s]: a screen that floods the watch waits for itself."""

_LONGEST_TEXT: Final = 1_000
_TERMINAL: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9/._-]{0,31}|browser [0-9a-f.:]{2,39}")


class Watched(Protocol):
    """The watch that screens are attached to (`monitor.session.Session`)."""

    @property
    def source(self) -> str:
        """Where the data come from."""
        ...

    @property
    def latest(self) -> Assessment | None:
        """The newest assessment; computed when read."""
        ...

    @property
    def history(self) -> History:
        """What the values were so far."""
        ...

    @property
    def notice(self) -> str:
        """What the owner should see about the watch itself."""
        ...

    @property
    def ended(self) -> str | None:
        """Why the watch has ended."""
        ...

    def ask(self, kind: RequestKind, alert_id: str, *, reason: str = "", for_s: float = 0.0, actor: str = "") -> None:
        """Pass on what `actor` asks of an alert."""
        ...

    def take_fault(self, what: str, error: Exception) -> None:
        """Tell that a part of strandwatch failed."""
        ...


class AttachedScreen(asyncio.Protocol):
    """The connection to one screen.

    Parameters
    ----------
    watch : Watched
        The watch.
    machine : str
        The machine's name.
    admit : callable
        Told when the screen has introduced itself; answers why it must go, or nothing.
    lost : callable
        Told when the connection is closed.
    full : str
        Why it is sent away at once; empty when it is welcome.
    """

    def __init__(
        self,
        watch: Watched,
        machine: str,
        admit: Callable[["AttachedScreen"], str],
        lost: Callable[["AttachedScreen"], None],
        full: str = "",
    ) -> None:
        self._watch, self._machine, self._full = watch, machine, full
        self._admit, self._lost = admit, lost
        self._frames = Frames(LONGEST_FROM_SCREEN)
        self._loop = asyncio.get_running_loop()
        self._transport: asyncio.Transport | None = None
        self._deadline: asyncio.TimerHandle | None = None
        self._resumed: asyncio.TimerHandle | None = None
        self._pid = 0
        self._who: Hello | None = None
        self._sent = -1
        self._past: Iterator[Piece] | None = None
        self._unread_since_s: float | None = None

    @property
    def actor(self) -> str:
        """Who asks from this screen, as it is recorded."""
        terminal = "" if self._who is None else self._who.terminal
        return f"owner at {terminal if _TERMINAL.fullmatch(terminal) else f'process {self._pid}'}"

    @property
    def is_told_the_past(self) -> bool:
        """Whether there is more of the watch's past to come."""
        return self._past is not None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Say who we are, to nobody but the same user."""
        assert isinstance(transport, asyncio.Transport)  # noqa: S101 -- a stream server makes no others
        self._transport = transport
        with_kernel: socket.socket = transport.get_extra_info("socket")
        self._pid, user = user_at_other_end(with_kernel)
        if user != os.getuid():
            self._part(f"this watch belongs to another user ({os.getuid()}), and only that user may attach to it")
            return
        if self._full:
            self._part(self._full)
            return
        self._write(hello(os.getpid(), machine=self._machine, source=self._watch.source))
        self._wait()

    def data_received(self, data: bytes) -> None:
        """Take in what the screen sent; whatever is wrong with it ends this connection and nothing else."""
        try:
            for body in self._frames.feed(data):
                self._take(body)
                if self._resumed is not None:
                    break  # the rest has to wait
        except WireError as error:
            self._part(clean_text(str(error), _LONGEST_TEXT))
        except Exception as error:  # noqa: BLE001 -- whatever fails of a screen must not end the watch of a night
            self._watch.take_fault("what an attached screen asked", error)
            self._part("strandwatch itself failed")
        self._wait()

    def connection_lost(self, error: Exception | None) -> None:  # noqa: ARG002 -- however it went
        """Forget it."""
        for timer in (self._deadline, self._resumed):
            if timer is not None:
                timer.cancel()
        self._lost(self)

    def show(self, frame: bytes, number: int) -> None:
        """Send the newest state, the `number`th, unless it has it or has not read the last one; then of the past."""
        if self._transport is None or self._transport.is_closing():
            return
        if self._transport.get_write_buffer_size():
            self._let_go_if_stuck()
            return
        self._unread_since_s = None
        if number != self._sent:
            self._sent = number
            self._transport.write(frame)
        if not self._transport.get_write_buffer_size():
            self._tell_past()

    def leave(self, reason: str) -> None:
        """Say why no more comes, and close when that is sent."""
        self._part(reason)

    def drop(self) -> None:
        """Close at once."""
        if self._transport is not None:
            self._transport.abort()

    def _tell_past(self) -> None:
        """Send the next piece of the past: it is made only now, so that a screen that reads nothing costs no memory."""
        piece = None if self._past is None else next(self._past, None)
        if piece is None:
            self._past = None
        else:
            self._write(Past(piece))

    def _let_go_if_stuck(self) -> None:
        now_s = self._loop.time()
        if self._unread_since_s is None:
            self._unread_since_s = now_s
        elif now_s - self._unread_since_s > UNREAD_S:
            self.drop()

    def _wait(self) -> None:
        """Begin to wait for the rest of a message, or for the first one; or stop waiting."""
        is_due = self._who is None or (self._frames.is_amid and self._resumed is None)
        if not is_due and self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None
        elif is_due and self._deadline is None:
            self._deadline = self._loop.call_later(PATIENCE_S, self._part, "it said nothing for too long")

    def _take(self, body: bytes) -> None:
        message = from_screen(body)
        if self._transport is None or self._transport.is_closing():
            return
        if self._who is None:
            self._greet(message)
        elif isinstance(message, Ask):
            self._pass_on(message)

    def _greet(self, message: Hello | Ask) -> None:
        if not isinstance(message, Hello):
            raise WireError("a screen says first who it is")
        if not is_understood(message):
            own = hello(os.getpid())
            raise WireError(mismatch_text(own, message))
        self._who, self._past = message, self._watch.history.pieces()
        refused = self._admit(self)
        if refused:
            self._part(refused)

    def _pass_on(self, asked: Ask) -> None:
        """Hand a request to the watch, and read on a little later."""
        self._rest()
        try:
            self._check(asked.alert_id)
            for_s = asked.for_s if asked.kind is RequestKind.SHELVE else 0.0
            self._watch.ask(asked.kind, asked.alert_id, reason=clean_text(asked.reason), for_s=for_s, actor=self.actor)
        except ValueError as error:
            self._write(Refused(clean_text(str(error))))
        except BrokenPipeError:
            return  # whoever prints finds out by itself, and ends the watch

    def _check(self, alert_id: str) -> None:
        latest = self._watch.latest
        known = () if latest is None else (*latest.alerts, *latest.held_back)
        if all(alert.id != alert_id for alert in known):
            raise ValueError("there is no such alert any more")

    def _rest(self) -> None:
        if self._transport is not None and self._resumed is None:
            self._transport.pause_reading()
            self._resumed = self._loop.call_later(BETWEEN_REQUESTS_S, self._read_on)

    def _read_on(self) -> None:
        self._resumed = None
        self.data_received(b"")  # first what has come already
        if self._transport is not None and not self._transport.is_closing() and self._resumed is None:
            self._transport.resume_reading()

    def _part(self, reason: str) -> None:
        if self._transport is not None and not self._transport.is_closing():
            self._transport.write(framed(Bye(reason)))
            self._transport.close()

    def _write(self, message: FromWatch) -> None:
        """Send a short message; it is lost where the screen has not read the last one."""
        transport = self._transport
        if transport is not None and not transport.is_closing() and not transport.get_write_buffer_size():
            transport.write(framed(message))
