"""Opens one connection, with every choice that keeps it safe. Knows nothing of messages or of trying again."""

import logging
from typing import Final

from websockets.asyncio.client import ClientConnection, connect
from websockets.typing import Subprotocol

from connectors.websocket_access import Access
from connectors.websocket_settings import WebsocketSettings

OPEN_TIMEOUT_S: Final = 10.0
CLOSE_TIMEOUT_S: Final = 1.0

# The library writes headers, and so the token, to its debug log.
_SILENT: Final = logging.getLogger("strandwatch.websocket")
_SILENT.disabled = True


class _DirectConnect(connect):
    """Follows no redirect: the library would take a token in a header of its own along to another host."""

    def process_redirect(self, exc: Exception) -> Exception | str:
        return exc


async def open_connection(settings: WebsocketSettings, access: Access) -> ClientConnection:
    """Connect; raises OSError, WebSocketException, or UnicodeError for a host name that cannot be one."""
    subprotocol = settings.subprotocol
    return await _DirectConnect(
        settings.url,
        subprotocols=None if subprotocol is None else [Subprotocol(subprotocol)],
        additional_headers=access.headers,
        ssl=access.tls,
        user_agent_header="strandwatch",
        proxy=None,  # machines stand in the local network
        compression=None,  # a small message must not unpack to a huge one
        open_timeout=OPEN_TIMEOUT_S,
        close_timeout=CLOSE_TIMEOUT_S,
        ping_interval=settings.ping_interval_s,
        ping_timeout=settings.ping_timeout_s,
        max_size=settings.max_message_bytes,
        logger=_SILENT,
    )
