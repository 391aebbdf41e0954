"""For checking a profile: all that it could send. Pure."""

from connectors.clean_text import clean_text
from connectors.websocket_settings import WebsocketSettings


def explain_sends(settings: WebsocketSettings) -> list[str]:
    """Every text that the profile could make the link send, in words; the token's place holder stays.

    The connection itself and its pings (RFC 6455) are the only other bytes that leave.
    """
    once = [f"after connecting: {clean_text(text, 4096)}" for text in settings.on_connect]
    keepalive = settings.keepalive
    again = [] if keepalive is None else [f"every {keepalive.every_s:g} s: {clean_text(keepalive.text, 4096)}"]
    return once + again or ["nothing but the opening of the connection and its pings"]
