"""SIGUSR1: the owner has seen every alert that calls. For a watch without a screen, such as a service."""

import asyncio
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from monitor.client import WatchClient
from monitor.core.alert_types import AlertState, RequestKind

_CALLING: Final = frozenset({AlertState.UNACKNOWLEDGED, AlertState.RETURNED, AlertState.LATCHED})


@contextmanager
def seen_by_signal(client: WatchClient) -> Iterator[None]:
    """Acknowledge at each SIGUSR1. Must be entered in a running event loop of the main thread."""
    loop = asyncio.get_running_loop()
    loop.add_signal_handler(signal.SIGUSR1, acknowledge_all, client)
    try:
        yield
    finally:
        loop.remove_signal_handler(signal.SIGUSR1)


def acknowledge_all(client: WatchClient) -> None:
    """Pass on that the owner has seen all that calls; what is folded under another alert is seen with it."""
    latest = client.latest
    for alert in () if latest is None else latest.alerts:
        if alert.state in _CALLING and not alert.folded_under:
            client.ask(RequestKind.ACKNOWLEDGE, alert.id)
