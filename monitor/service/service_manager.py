"""Tells a service manager how things stand, by the protocol of sd_notify(3): one datagram of KEY=VALUE lines.

Written out here because it is thirty lines and an open, stable protocol. Nothing is raised and nothing waits: a manager
that does not listen must not hold up a watch.
"""

import os
import socket
from collections.abc import Mapping
from contextlib import suppress

from connectors.clean_text import clean_text

_LONGEST_VALUE = 200


class ServiceManager:
    """A service manager that listens at a Unix datagram socket.

    Parameters
    ----------
    address : str
        Path of the socket; '@' at its beginning stands for the abstract namespace.
    watchdog_s : float or None
        Within which time it wants a sign of work, or else begins the service anew [s]; None where it wants none.
    """

    def __init__(self, address: str, watchdog_s: float | None = None) -> None:
        self.watchdog_s = watchdog_s
        self._address = f"\0{address[1:]}" if address.startswith("@") else address
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK)

    def tell(self, **values: str | int) -> None:
        """Send values in one datagram; lost in silence where nobody takes it."""
        lines = [f"{key}={clean_text(str(value), _LONGEST_VALUE)}" for key, value in values.items()]
        with suppress(OSError):
            self._socket.sendto("\n".join(lines).encode("utf-8", "replace"), self._address)

    def close(self) -> None:
        """Give the socket back."""
        self._socket.close()


def service_manager(environ: Mapping[str, str], process: int | None = None) -> ServiceManager | None:
    """Find the manager that the environment names; None when the program was not started by one.

    WATCHDOG_PID, where it is set, says for whom WATCHDOG_USEC is meant (sd_watchdog_enabled(3)).
    """
    address = environ.get("NOTIFY_SOCKET", "")
    if not address.startswith(("/", "@")) or len(address) <= 1:
        return None
    is_meant = environ.get("WATCHDOG_PID", "") in {"", str(os.getpid() if process is None else process)}
    micro_s = environ.get("WATCHDOG_USEC", "")
    is_number = micro_s.isascii() and micro_s.isdigit() and int(micro_s) > 0
    return ServiceManager(address, int(micro_s) / 1e6 if is_meant and is_number else None)
