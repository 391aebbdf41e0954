"""Keeps the address with the token in a file that only its owner can read, for as long as a watch is served."""

import os
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Final

_NAME: Final = re.compile(r"browser-(\d+)\.address")


def kept_address(address: str, where: Sequence[Path]) -> Path:
    """Write it into the first directory that can be used; OSError when none can."""
    problem: OSError = FileNotFoundError("no directory")
    for directory in where:
        try:
            directory.mkdir(mode=0o700, parents=True, exist_ok=True)
            _clear_away(directory)
            return _written(directory / f"browser-{os.getpid()}.address", address)
        except OSError as error:
            problem = error
    raise problem


def _written(path: Path, address: str) -> Path:
    path.unlink(missing_ok=True)
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC, 0o600)
    with os.fdopen(descriptor, "w", encoding="ascii") as file:
        file.write(address + "\n")
    return path


def _clear_away(directory: Path) -> None:
    """Remove what a killed watch left."""
    for path in directory.iterdir():
        found = _NAME.fullmatch(path.name)
        if found is not None and not _is_alive(int(found[1])):
            path.unlink(missing_ok=True)


def _is_alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        return True
    return True
