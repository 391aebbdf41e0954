"""Runs in every Python that a test starts: notes what it writes to a serial port or pseudo-terminal.

Python imports this name by itself when its directory is on PYTHONPATH, which `tests/conftest.py` sees to. It imports
nothing of ours: programs under test must not find anything loaded that they did not load.
"""

import os

_NO_PORTS = {1, 5}
"""Major numbers of /dev/null and its like, and of consoles and the far ends of pseudo-terminals."""


def _port(descriptor: int) -> int:
    """Number of the device if it is a serial port or pseudo-terminal, else 0."""
    try:
        status = os.fstat(descriptor)
    except OSError:
        return 0
    is_device = status.st_mode & 0o170000 == 0o020000
    return status.st_rdev if is_device and os.major(status.st_rdev) not in _NO_PORTS else 0


def _watch_writes(ledger: str) -> None:
    own = {_port(each) for each in range(3)}  # the terminal that shows the program is no link
    write, gathered = os.write, os.writev

    def note(descriptor: int, data: bytes) -> None:
        port = _port(descriptor)
        if port and port not in own:
            with open(ledger, "a", encoding="ascii") as file:  # noqa: PTH123 -- loads nothing that is not loaded
                file.write(bytes(data).hex() + "\n")

    def noted(descriptor: int, data: bytes) -> int:
        note(descriptor, data)
        return write(descriptor, data)

    def noted_gathered(descriptor: int, parts: list[bytes]) -> int:
        note(descriptor, b"".join(parts))
        return gathered(descriptor, parts)

    noted.__wrapped__ = write  # type: ignore[attr-defined]  # so that a worker of the tests can put its own in place
    noted_gathered.__wrapped__ = gathered  # type: ignore[attr-defined]  # likewise
    os.writev = noted_gathered  # type: ignore[assignment]  # likewise
    os.write = noted  # type: ignore[assignment]  # stands for the built-in one


if "STRANDWATCH_TEST_LEDGER" in os.environ:
    _watch_writes(os.environ["STRANDWATCH_TEST_LEDGER"])
