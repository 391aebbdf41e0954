"""Opening a serial port, alone and harmlessly, and saying in plain words why it does not open.

Owns the flags and terminal settings of the device file. Blocking: call it from a thread. Knows nothing of replies.
Opening a port raises its modem lines, which restarts many controllers; no software can prevent that, so the check
whether it may be opened at all lies with the caller. No call here touches modem lines or sends a break; the library
used to ask raises, on opening, lines that the system has raised already.
"""

import errno
import fcntl
import grp
import os
import struct
import sys
import termios
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Final, Literal

import serial

from connectors.clean_text import clean_text

_MISSING: Final = {errno.ENOENT, errno.ENXIO, errno.ENODEV, errno.EIO}
_FORBIDDEN: Final = {errno.EACCES, errno.EPERM}
_BUSY: Final = {errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK}
_NO_TERMINAL: Final = {errno.ENOTTY, errno.EINVAL, errno.EISDIR}
_PORT_NAMES: Final = ("serial/by-id/*", "ttyUSB*", "ttyACM*")

# Linux only: `struct termios2` and the calls that take any speed as a number. No other interface sets 250000.
_TCGETS2, _TCSETS2, _BOTHER = 0x802C542A, 0x402C542B, 0o010000
_TERMIOS2: Final = struct.Struct("4IB19s2I")
_CFLAG, _INPUT_SPEED, _OUTPUT_SPEED = 2, 6, 7


class PortUnavailableError(Exception):
    """The port cannot be opened now; `is_hopeless` when trying again cannot help. The text says what to do."""

    def __init__(self, reason: str, *, is_hopeless: bool = False) -> None:
        super().__init__(reason)
        self.is_hopeless = is_hopeless


def open_port(port: str, baud: int, mode: Literal["listen", "ask"]) -> int | serial.Serial:
    """Open `port` at `baud` [bit/s]: a read-only file descriptor to listen, the library's port to ask.

    Raises `PortUnavailableError`.
    """
    return open_to_listen(port, baud) if mode == "listen" else open_to_ask(port, baud)


def close_port(opened: int | serial.Serial) -> None:
    """Close what `open_port` returned."""
    if isinstance(opened, int):
        release(opened)
        os.close(opened)
    else:
        release(opened.fileno())
        opened.close()


def open_to_listen(port: str, baud: int) -> int:
    """File descriptor of `port`, opened so that the operating system refuses every write to it.

    The common library for serial ports always opens for writing too, so this opens the device file itself.
    """
    fd = -1
    try:
        _refuse_if_held(port)
        fd = os.open(port, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK | os.O_CLOEXEC)
        _claim(fd)
        _make_raw(fd, baud)
    except (OSError, termios.error) as error:
        if fd >= 0:
            os.close(fd)
        raise _explained(port, error) from error
    return fd


def open_to_ask(port: str, baud: int) -> serial.Serial:
    """Open `port` for reading and writing, locked against every other program."""
    opened: serial.Serial | None = None
    try:
        _refuse_if_held(port)
        opened = serial.Serial(port, baud, timeout=0, write_timeout=0, exclusive=True)
        _claim(opened.fileno())
        _keep_lines_on_close(opened.fileno())
    except (OSError, ValueError, termios.error) as error:
        if opened is not None:
            opened.close()
        raise _explained(port, error) from error
    # The library waits for the output to drain when it closes, in the event loop: a dead device would block it.
    opened.flush = opened.reset_output_buffer  # type: ignore[method-assign]  # same signature, does not wait
    return opened


def release(fd: int) -> None:
    """Let other programs open the port again. Call before closing."""
    with suppress(OSError):
        fcntl.ioctl(fd, termios.TIOCNXCL)


def _claim(fd: int) -> None:
    """Lock the port: of two readers each would get only half of the lines."""
    fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    fcntl.ioctl(fd, termios.TIOCEXCL)


def _make_raw(fd: int, baud: int) -> None:
    *_, special = termios.tcgetattr(fd)
    special[termios.VMIN], special[termios.VTIME] = 1, 0
    plain = getattr(termios, f"B{baud}", None)
    known_speed = termios.B115200 if plain is None else plain
    # Without HUPCL the modem lines stay up when the port closes, so that opening it again makes no edge.
    cflag = termios.CS8 | termios.CREAD | termios.CLOCAL
    termios.tcsetattr(fd, termios.TCSANOW, [termios.IGNBRK, 0, cflag, 0, known_speed, known_speed, special])
    if plain is None:
        _set_any_speed(fd, baud)


def _set_any_speed(fd: int, baud: int) -> None:
    if sys.platform != "linux":
        raise OSError(errno.EINVAL, f"the speed {baud} can be set on Linux only")
    fields = list(_TERMIOS2.unpack(fcntl.ioctl(fd, _TCGETS2, bytes(_TERMIOS2.size))))
    fields[_CFLAG] = fields[_CFLAG] & ~termios.CBAUD | _BOTHER
    fields[_INPUT_SPEED] = fields[_OUTPUT_SPEED] = baud
    fcntl.ioctl(fd, _TCSETS2, _TERMIOS2.pack(*fields))


def _keep_lines_on_close(fd: int) -> None:
    attributes = termios.tcgetattr(fd)
    attributes[_CFLAG] &= ~termios.HUPCL
    termios.tcsetattr(fd, termios.TCSANOW, attributes)


def _refuse_if_held(port: str) -> None:
    """Raise when another program has the port open: a lock is only advice, and opening alone may do harm."""
    device = os.path.realpath(port)
    for pid in _holders(device):
        raise OSError(errno.EBUSY, f"program {_program(pid)}, process {pid}")


def holders(path: str) -> list[str]:
    """Other programs that hold a device or file open, in words, as far as they can be seen."""
    return [f"{_program(pid)}, process {pid}" for pid in _holders(os.path.realpath(path))]


def _holders(device: str) -> Iterator[int]:
    """Other processes that hold `device` open, as far as they can be seen."""
    for entry in Path("/proc").glob("[0-9]*"):
        pid = int(entry.name)
        with suppress(OSError):
            links = [] if pid == os.getpid() else list((entry / "fd").iterdir())
            if any(_target(link) == device for link in links):
                yield pid


def _program(pid: int) -> str:
    try:
        return clean_text((Path("/proc") / str(pid) / "comm").read_text(errors="replace").strip())
    except OSError:
        return "unknown"  # it ended meanwhile; the next attempt will find the port free


def _target(link: Path) -> str:
    try:
        return str(link.readlink())
    except OSError:
        return ""


def _explained(port: str, error: Exception) -> PortUnavailableError:
    """Say in plain words why `port` did not open, and what to do."""
    shown, code = clean_text(port), _errno_of(error)
    if code in _MISSING:
        present = sorted(str(path) for name in _PORT_NAMES for path in Path("/dev").glob(name))
        ports = clean_text("ports present: " + (", ".join(present) or "none"), limit=400)
        return PortUnavailableError(f"there is no port {shown}: is the machine plugged in and on? {ports}")
    if code in _FORBIDDEN:
        return PortUnavailableError(f"no permission to open {shown}: {permission_advice(port)}")
    if code in _BUSY:
        holder = f" ({clean_text(error.strerror)})" if isinstance(error, OSError) and error.strerror else ""
        return PortUnavailableError(
            f"port {shown} is used by another program{holder}; a port serves one program only: close the other one"
        )
    if code in _NO_TERMINAL:
        return PortUnavailableError(f"{shown} is not a serial port that can be set up: {error}", is_hopeless=True)
    return PortUnavailableError(clean_text(f"port {port} cannot be opened: {error}"))


def permission_advice(port: str) -> str:
    """Say how to get permission to open `port`."""
    try:
        number = Path(port).stat().st_gid
    except OSError:
        return "ask whoever runs this computer for access"
    try:
        group = grp.getgrgid(number).gr_name
    except KeyError:
        group = str(number)
    return f"add yourself to the group that owns it (sudo usermod -aG {group} $USER), then log out and in again"


def _errno_of(error: BaseException | None) -> int | None:
    """Error number, also where a library wrapped the error of the operating system."""
    while error is not None:
        if isinstance(error, OSError) and error.errno is not None:
            return error.errno
        if isinstance(error, termios.error):
            return int(error.args[0])
        error = error.__cause__ or error.__context__
    return None
