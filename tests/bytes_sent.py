"""Gathers every byte that the whole run of the tests writes to a machine, and holds it against the allow-list.

It listens below our own code, where no link can pass it by: at `os.write` and `os.writev` to anything that is a serial
port or pseudo-terminal (the serial library writes with the former), at the opening of such a device as a file that can
be written, which would pass these by, at the frames and the request that the websocket library
sends, and at the frames that servers of the tests hear. Python programs that a test starts note theirs by
`in_every_child/sitecustomize.py`. It does not see writes of the tests' own machines: those go to the other end.
"""

import builtins
import io
import os
import stat
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import wraps
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp
from typing import Any, Final, NamedTuple, TypeVar, cast

import pytest
from websockets.client import ClientProtocol
from websockets.frames import Frame, Opcode
from websockets.http11 import Request
from websockets.protocol import CLIENT, Protocol

from connectors.websocket_link import WebsocketLink
from connectors.websocket_texts import check_sendable

F = TypeVar("F", bound=Callable[..., Any])
LEDGER_VARIABLE: Final = "STRANDWATCH_TEST_LEDGER"
_NO_PORTS: Final = {1, 5}
"""Major numbers of /dev/null and its like, and of consoles and the far ends of pseudo-terminals (Linux)."""
_IN_EVERY_CHILD: Final = Path(__file__).parent / "in_every_child"
QUERIES: Final = frozenset({b"M105\n", b"M27\n", b"M114\n"})
"""Reports of temperatures, progress and position (common practice, no source). Written out here: what the program
allows itself is what is on trial."""
_OF_THE_PROTOCOL: Final = {Opcode.PING, Opcode.PONG, Opcode.CLOSE}
"""RFC 6455, section 5.5: control frames, which carry nothing to an application."""
_HEADERS: Final = frozenset({"host", "upgrade", "connection", "user-agent", "sec-websocket-key"}) | {
    "sec-websocket-version",
    "sec-websocket-protocol",
}
"""RFC 6455, section 4.1, and our own name."""


class Sent(NamedTuple):
    """One write: by which way, and what. `kind` is the device's number, the frame's kind, or the name of a header."""

    way: str
    kind: str
    data: bytes


@dataclass
class Ledger:
    """All that was sent, and what the profiles of the links that were made allow."""

    sent: list[Sent] = field(default_factory=list)
    texts: set[bytes] = field(default_factory=set)
    headers: set[str] = field(default_factory=set)
    found: list[Sent] | None = None
    """Faults that other processes found, which know their own profiles; None while this one judges itself."""

    def allow(self, link: WebsocketLink) -> None:
        """Note what the profile of a link lets it send."""
        self.texts |= {link._access.filled(text).encode() for text in link._settings.texts}
        self.headers |= {name.lower() for name in link._access.headers}

    def read_children(self, path: Path) -> None:
        """Add what the programs that tests started have noted."""
        if path.exists():
            self.sent += [Sent("serial", "of a child", bytes.fromhex(line)) for line in path.read_text().split()]

    def faults(self) -> list[Sent]:
        """All that is not on the allow-list."""
        if self.found is not None:
            return self.found
        return [each for each in self.sent if not self._is_allowed(each)]

    def _is_allowed(self, each: Sent) -> bool:
        if each.way == "serial":
            return each.data in QUERIES
        if each.way == "request":
            return each.kind.lower() in _HEADERS | self.headers
        if each.kind in {code.name for code in _OF_THE_PROTOCOL}:
            return True
        # of a child's profile nothing is known here: there, the rule for texts that a profile may hold must do
        return each.kind == "TEXT" and (each.data in self.texts or (each.way == "heard" and _is_harmless(each.data)))


def _is_harmless(text: bytes) -> bool:
    try:
        check_sendable(text.decode())
    except ValueError:
        return False
    return True


class WholeRun:
    """Part of pytest: gathers from before the first test to after the last, and fails the run for a forbidden byte."""

    def __init__(self) -> None:
        self._ledger, self._patch = Ledger(), pytest.MonkeyPatch()
        self._children = Path(mkdtemp(prefix="sent-")) / "by-children"
        gather(self._ledger, self._patch, terminals_open())
        self._patch.setenv(LEDGER_VARIABLE, str(self._children))
        self._patch.setenv("PYTHONPATH", str(_IN_EVERY_CHILD), prepend=os.pathsep)

    def pytest_sessionfinish(self, session: pytest.Session) -> None:
        """Hold all that was sent against the allow-list; a worker hands it to the process that it works for."""
        self._ledger.read_children(self._children)
        rmtree(self._children.parent)
        output = getattr(session.config, "workeroutput", None)
        if output is not None:
            output["sent"] = [tuple(each) for each in self._ledger.sent]
            output["allowed"] = (list(self._ledger.texts), list(self._ledger.headers))
        elif self._ledger.faults():
            session.exitstatus = pytest.ExitCode.TESTS_FAILED

    @pytest.hookimpl(optionalhook=True)
    def pytest_testnodedown(self, node: Any) -> None:  # noqa: ANN401 -- of a library that need not be there
        """Take what a worker has gathered."""
        output = getattr(node, "workeroutput", {})
        self._ledger.sent += [Sent(*each) for each in output.get("sent", ())]
        texts, headers = output.get("allowed", ((), ()))
        self._ledger.texts |= set(texts)
        self._ledger.headers |= set(headers)

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        """Say how much was gathered, and every fault."""
        for line in told(self._ledger):
            terminalreporter.write_line(line)

    def pytest_unconfigure(self) -> None:
        """Give everything back."""
        self._patch.undo()


def told(ledger: Ledger) -> Iterator[str]:
    """Say what was gathered; a line for each fault."""
    ways = {way: [each.data for each in ledger.sent if each.way == way] for way in ("serial", "frame", "heard")}
    counts = ", ".join(f"{way} {len(data)} ({sum(map(len, data))} bytes)" for way, data in ways.items())
    yield f"sent to machines in this run: {counts}"
    yield from (f"NOT ON THE ALLOW-LIST: {each.way} {each.kind} {each.data[:80]!r}" for each in ledger.faults())


def terminals_open() -> frozenset[int]:
    """Terminals that this process has open already: they show the tests, and are no link."""
    return frozenset(_port(int(entry)) for entry in os.listdir("/proc/self/fd"))  # noqa: PTH208 -- names only


def gather(ledger: Ledger, patch: pytest.MonkeyPatch, own: Iterable[int] = ()) -> None:
    """Note in `ledger`, and in no other, from now on what goes to machines, until `patch` is undone."""
    patch.setattr(os, "write", _noting_writes(ledger, frozenset(own)))
    patch.setattr(os, "writev", _noting_gathered_writes(ledger, frozenset(own)))
    for module in (builtins, io):
        patch.setattr(module, "open", _noting_openings(ledger, frozenset(own)))
    for name, way in (("send_frame", "frame"), ("recv_frame", "heard")):
        patch.setattr(Protocol, name, _noting_frames(ledger, way, _plain(getattr(Protocol, name))))
    send_request, make = _plain(ClientProtocol.send_request), _plain(WebsocketLink.__init__)

    @wraps(send_request)
    def request(self: ClientProtocol, request: Request) -> None:
        ledger.sent += [Sent("request", name, value.encode()) for name, value in request.headers.raw_items()]
        send_request(self, request)

    @wraps(make)
    def made(self: WebsocketLink, *args: Any, **keys: Any) -> None:  # noqa: ANN401 -- passes its arguments on
        make(self, *args, **keys)
        ledger.allow(self)

    patch.setattr(ClientProtocol, "send_request", request)
    patch.setattr(WebsocketLink, "__init__", made)


def _noting_writes(ledger: Ledger, own: frozenset[int]) -> Callable[[int, bytes], int]:
    write = _plain(os.write)

    @wraps(write)
    def noted(descriptor: int, data: bytes) -> int:
        port = _port(descriptor)
        if port and port not in own:
            ledger.sent.append(Sent("serial", f"{os.major(port)}:{os.minor(port)}", bytes(data)))
        return write(descriptor, data)

    return noted


def _noting_gathered_writes(ledger: Ledger, own: frozenset[int]) -> Callable[[int, Sequence[bytes]], int]:
    write = _plain(os.writev)

    @wraps(write)
    def noted(descriptor: int, parts: Sequence[bytes]) -> int:
        port = _port(descriptor)
        if port and port not in own:
            ledger.sent.append(Sent("serial", f"{os.major(port)}:{os.minor(port)}", b"".join(parts)))
        return write(descriptor, parts)

    return noted


def _noting_openings(ledger: Ledger, own: frozenset[int]) -> Callable[..., Any]:
    opening = _plain(io.open)

    @wraps(opening)
    def noted(*args: Any, **keys: Any) -> Any:  # noqa: ANN401 -- passes its arguments on
        file = opening(*args, **keys)
        port = _port(file.fileno()) if file.writable() else 0
        if port and port not in own:
            ledger.sent.append(Sent("serial", "opened as a file that can be written", b""))
        return file

    return noted


def _noting_frames(
    ledger: Ledger, way: str, pass_on: Callable[[Protocol, Frame], None]
) -> Callable[[Protocol, Frame], None]:
    @wraps(pass_on)
    def noted(self: Protocol, frame: Frame) -> None:
        if (self.side is CLIENT) is (way == "frame"):
            ledger.sent.append(Sent(way, frame.opcode.name, bytes(frame.data)))
        pass_on(self, frame)

    return noted


def _plain(noting: F) -> F:
    """What a noting function passes on to."""
    return cast("F", getattr(noting, "__wrapped__", noting))


def _port(descriptor: int) -> int:
    """Number of the device if it is a serial port or our end of a pseudo-terminal, else 0. Fast: each write asks."""
    try:
        status = os.fstat(descriptor)
    except OSError:
        return 0
    is_port = stat.S_ISCHR(status.st_mode) and os.major(status.st_rdev) not in _NO_PORTS
    return status.st_rdev if is_port else 0
