"""Looks at the real computer for `doctor`, and judges nothing. Opens no port, sends nothing, changes nothing."""

import ctypes
import curses
import os
import shutil
import stat
import sys
import time
from collections.abc import Mapping
from contextlib import suppress
from importlib import metadata
from pathlib import Path
from typing import Final

import monitor
from connectors.serial_port import holders, permission_advice
from monitor.doctor.computer import Clock, Terminal, plain_name
from monitor.doctor.machine import Port
from monitor.doctor.places import Place

_NOT_SYNCHRONISED: Final = 5
"""TIME_ERROR of adjtimex(2): the clock is kept by no time server."""
_RECENT_S: Final = 86_400.0
_MOST_RECENT: Final = 50


def terminal(environ: Mapping[str, str]) -> Terminal:
    """Look at standard output."""
    size = shutil.get_terminal_size()
    is_terminal = sys.stdout is not None and sys.stdout.isatty()
    encoding = "" if sys.stdout is None else sys.stdout.encoding or ""
    kind = environ.get("TERM", "")
    return Terminal(
        is_terminal,
        encoding,
        size.columns,
        size.lines,
        kind,
        _colours(environ) if is_terminal else None,
        bool(environ.get("NO_COLOR")),
    )


def _colours(environ: Mapping[str, str]) -> int | None:
    if environ.get("COLORTERM", "").lower() in {"truecolor", "24bit"}:
        return 1 << 24
    with suppress(curses.error):
        curses.setupterm()
        return curses.tigetnum("colors")
    return None


def requirements() -> list[str] | None:
    """What the installed package says it needs; None where it is not installed."""
    try:
        return metadata.requires("strandwatch") or []
    except metadata.PackageNotFoundError:
        return None


def installed() -> dict[str, str]:
    """Version of every package that is there, by its name as `plain_name` has it."""
    return {plain_name(each.metadata["Name"]): each.version for each in metadata.distributions()}


def clock(recordings: Path) -> Clock:
    """Look at the time of day, and at the newest file that must be older."""
    files = [Path(monitor.__file__), *_recordings(recordings)]
    newest = max((path.stat().st_mtime for path in files if path.exists()), default=0.0)
    return Clock(time.time(), newest, _is_synchronised())


def _is_synchronised() -> bool | None:
    """Ask the kernel, which knows it of whatever program sets the clock."""
    with suppress(OSError, AttributeError):
        asked = ctypes.create_string_buffer(1024)  # `struct timex` of zeros, with room to spare: asks, sets nothing
        state = ctypes.CDLL(None).adjtimex(asked)
        return None if state < 0 else bool(state != _NOT_SYNCHRONISED)
    return None


def has_systemd() -> bool:
    """Whether systemd runs this computer (sd_booted(3))."""
    return Path("/run/systemd/system").is_dir()


def place(path: Path) -> Place:
    """Look at a directory, or where it would be made."""
    standing = next((each for each in (path, *path.absolute().parents) if each.is_dir()), Path("/"))
    try:
        disk = os.statvfs(standing)
        is_read_only, free_bytes = bool(disk.f_flag & os.ST_RDONLY), disk.f_bavail * disk.f_frsize
    except OSError:
        is_read_only, free_bytes = False, None
    mode = path.stat().st_mode if path.is_dir() else None
    in_the_way = next((each for each in (path, *path.absolute().parents) if _is_no_directory(each)), None)
    may_write = os.access(standing, os.W_OK | os.X_OK)
    return Place(path, mode, standing, may_write, is_read_only, free_bytes, in_the_way)


def _is_no_directory(path: Path) -> bool:
    with suppress(OSError):
        return not stat.S_ISDIR(path.stat().st_mode)
    return False


def writers(recordings: Path) -> list[tuple[Path, str]]:
    """Recordings of the last day that other programs have open."""
    recent = [path for path in _recordings(recordings) if time.time() - path.stat().st_mtime < _RECENT_S]
    return [(path, who) for path in recent[:_MOST_RECENT] for who in holders(str(path))]


def _recordings(directory: Path) -> list[Path]:
    with suppress(OSError):
        return sorted(directory.glob("*.jsonl"), reverse=True)
    return []


def port(name: str) -> Port:
    """Look at a serial port without opening it."""
    path = Path(name)
    with suppress(OSError):
        if path.exists():
            return Port(
                exists=True,
                is_device=path.is_char_device(),
                may_read=os.access(path, os.R_OK),
                may_write=os.access(path, os.W_OK),
                holders=holders(name),
                permission_advice=permission_advice(name),
            )
    return Port(exists=False)
