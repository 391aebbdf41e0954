"""Where screens reach a running watch: a socket in a private directory, named after the machine and the process.

Owns the directory and the names, and clears away what a killed watch left. Knows nothing of what is said.
"""

import os
import re
import socket
import stat
import struct
import time
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import platformdirs

from connectors.clean_text import clean_text
from monitor.recording.place import machine_words

SUFFIX: Final = ".sock"
LONGEST_PATH: Final = 107
"""Longest path of a socket [bytes]: `sun_path` of unix(7) holds 108 with the zero at the end."""

SERVICE_DIRECTORY: Final = Path("/run/strandwatch")
"""Where a service manager makes a directory for a service of this name."""

_COMING: Final = ".coming"
_LEFT_AFTER_S: Final = 60.0
_BACKLOG: Final = 64
_LONGEST_MACHINE: Final = 32
_CREDENTIALS: Final = struct.Struct("3i")


class NotOfferedError(Exception):
    """No directory can hold the socket; the text says why, of each."""


@dataclass(frozen=True, slots=True)
class Place:
    """A socket that listens, and where."""

    path: Path
    listener: socket.socket

    @property
    def is_there(self) -> bool:
        """Whether the path still leads anywhere: a session manager clears such directories when the owner leaves."""
        return os.path.lexists(self.path)

    def leave(self) -> None:
        """Close the socket, and remove it unless another has taken its name."""
        self.listener.close()
        with suppress(OSError):
            if is_stale(self.path):
                self.path.unlink()


def directories() -> list[Path]:
    """Give where to offer a watch, best first."""
    runtime = os.environ.get("XDG_RUNTIME_DIR", "")
    state = Path(platformdirs.user_state_dir("strandwatch", appauthor=False)) / "attach"
    return [Path(runtime) / "strandwatch", state] if runtime.startswith("/") else [state]


def sockets(where: Sequence[Path] | None = None) -> list[Path]:
    """Give all sockets of the owner's watches, by name. Those that nobody listens to any more are removed."""
    looked = [*directories(), Path(f"/run/user/{os.getuid()}/strandwatch"), SERVICE_DIRECTORY]
    chosen = list(dict.fromkeys(looked)) if where is None else where
    return sorted((path for directory in chosen for path in _tidied(directory)), key=lambda path: path.name)


def listen(machine: str, where: Sequence[Path] | None = None) -> Place:
    """Listen in the first directory that can be used.

    Raises
    ------
    NotOfferedError
        When none can.
    """
    problems = []
    for directory in directories() if where is None else where:
        try:
            return _listen(directory, socket_name(machine))
        except OSError as error:
            problems.append(f"{clean_text(str(directory), 300)}: {error.strerror or error}")
    raise NotOfferedError("; ".join(problems))


def socket_name(machine: str) -> str:
    """Name of this process's socket; for an owner to read and to type.

    >>> socket_name("the bench: six inputs").removesuffix(f"-{os.getpid()}.sock")
    'the-bench-six-inputs'
    """
    words = machine_words(machine).encode()[:_LONGEST_MACHINE].decode(errors="ignore").strip("-.")
    return f"{words or 'machine'}-{os.getpid()}{SUFFIX}"


def user_at_other_end(connection: socket.socket) -> tuple[int, int]:
    """Process and user at the other end of a connection, as the kernel tells them (SO_PEERCRED of unix(7))."""
    told = connection.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, _CREDENTIALS.size)
    pid, user, _group = _CREDENTIALS.unpack(told)
    return pid, user


def is_stale(path: Path) -> bool:
    """Whether nobody listens to a socket any more."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        probe.settimeout(0)  # a full queue is no reason to wait
        try:
            probe.connect(str(path))
        except ConnectionRefusedError:
            return True
        except OSError:
            return False
    return False


def _listen(directory: Path, name: str) -> Place:
    path, coming = directory / name, directory / f"{os.getpid()}{_COMING}"
    if len(os.fsencode(path)) > LONGEST_PATH:
        raise OSError(f"the path of a socket in it is longer than {LONGEST_PATH} bytes")
    _make_private(directory)
    _tidied(directory)
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        coming.unlink(missing_ok=True)
        listener.bind(str(coming))
        coming.chmod(0o600)
        listener.listen(_BACKLOG)
        coming.rename(path)  # so that nobody ever finds one that does not listen yet, and takes it for a dead one
    except BaseException:
        listener.close()
        coming.unlink(missing_ok=True)
        raise
    listener.settimeout(0)
    return Place(path, listener)


def _make_private(directory: Path) -> None:
    """Make a directory that only its owner may enter; OSError when somebody else has a say in it."""
    directory.mkdir(mode=0o700, parents=True, exist_ok=True)
    if not _is_own(directory):
        raise OSError("it is no directory of your own")
    if stat.S_IMODE(directory.lstat().st_mode) != 0o700:  # noqa: PLR2004 -- octal modes are their own names
        directory.chmod(0o700)


def _is_own(directory: Path) -> bool:
    try:
        told = directory.lstat()
    except OSError:
        return False
    return stat.S_ISDIR(told.st_mode) and told.st_uid == os.getuid()


def _tidied(directory: Path) -> list[Path]:
    """Sockets in a directory, after what the dead left was removed."""
    return list(_living(directory)) if _is_own(directory) else []


def _living(directory: Path) -> Iterator[Path]:
    with suppress(OSError):
        for path in list(directory.iterdir()):
            if re.fullmatch(rf"\d+{re.escape(_COMING)}", path.name):
                _remove_old(path)
            elif path.suffix == SUFFIX and path.is_socket():
                if is_stale(path):
                    path.unlink(missing_ok=True)
                else:
                    yield path


def _remove_old(path: Path) -> None:
    with suppress(OSError):
        if time.time() - path.lstat().st_mtime > _LEFT_AFTER_S:
            path.unlink()
