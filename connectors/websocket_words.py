"""Why there is no connection, in plain words with what to do. Owns the wording; opens nothing."""

import socket
import ssl
from dataclasses import dataclass
from http import HTTPStatus
from typing import Final

from websockets.exceptions import ConnectionClosed, InvalidMessage, InvalidStatus, WebSocketException
from websockets.frames import CloseCode

from connectors.clean_text import clean_text
from connectors.websocket_settings import WebsocketSettings

_NOT_LET_IN: Final = {HTTPStatus.UNAUTHORIZED, HTTPStatus.FORBIDDEN}
_NOT_READY: Final = {HTTPStatus.REQUEST_TIMEOUT, HTTPStatus.TOO_MANY_REQUESTS}
_WSS_OR_WS: Final = "does this port speak wss://, or plain ws://?"
_FIRST_REDIRECT, _FIRST_CLIENT_ERROR, _FIRST_SERVER_ERROR = 300, 400, 500


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why no connection was made; `is_hopeless` when trying again cannot help by itself."""

    reason: str
    is_hopeless: bool = False


def why_not_connected(error: Exception, settings: WebsocketSettings) -> Refusal:
    """Put into words why connecting failed."""
    found = _why(error, settings)
    return Refusal(f"{settings.shown_url}: {found.reason}", found.is_hopeless)


def _why(error: Exception, settings: WebsocketSettings) -> Refusal:
    if isinstance(error, InvalidStatus):
        return _status(error.response.status_code, settings)
    if isinstance(error, ssl.SSLError):
        return _tls(error, settings)
    if isinstance(error, WebSocketException):
        return _no_websocket(error)
    return Refusal(_network(error, settings))


def why_lost(closed: ConnectionClosed, settings: WebsocketSettings) -> str:
    """Put into words why a connection ended."""
    ours = closed.sent is not None and (closed.rcvd is None or not closed.rcvd_then_sent)
    close = closed.sent if ours else closed.rcvd
    if close is None:
        return "the connection broke off: machine switched off, or network gone?"
    said = f" and said: {clean_text(close.reason)}" if close.reason and not ours else ""
    words: dict[int, str] = {
        CloseCode.MESSAGE_TOO_BIG: f"a message was longer than max_message_bytes = {settings.max_message_bytes}: "
        "ask for less on connect, or raise it",
        CloseCode.INVALID_DATA: "a message was not UTF-8",
        CloseCode.PROTOCOL_ERROR: "the server broke the rules of websockets",
        CloseCode.INTERNAL_ERROR: f"no answer to a ping for {settings.ping_timeout_s:g} s: network gone?",
    }
    if ours:
        return words.get(close.code, f"we closed the connection (code {close.code})")
    return f"the server closed the connection (code {close.code}){said}"


def _status(status: int, settings: WebsocketSettings) -> Refusal:
    if status in _NOT_LET_IN:
        return Refusal(f"the server does not let us in (HTTP {status}): {_token_advice(settings)}", is_hopeless=True)
    if status >= _FIRST_SERVER_ERROR or status in _NOT_READY:
        return Refusal(f"the server is not ready (HTTP {status})")
    if _FIRST_REDIRECT <= status < _FIRST_CLIENT_ERROR:
        advice = "redirects are not followed, so that the token goes nowhere else; put the final address into link.url"
        return Refusal(f"the server points to another address (HTTP {status}): {advice}", is_hopeless=True)
    return Refusal(f"the server has no websocket there (HTTP {status}): check the path in link.url", is_hopeless=True)


def _token_advice(settings: WebsocketSettings) -> str:
    if not settings.has_token:
        return "it wants an access token: give link.token_file or link.token_env"
    place = settings.token_file or f"environment variable {settings.token_env}"
    return clean_text(f"is the token in {place} still valid, and does it belong in header {settings.auth_header}?")


def _tls(error: ssl.SSLError, settings: WebsocketSettings) -> Refusal:
    if isinstance(error, ssl.SSLCertVerificationError):
        trust = (
            "is link.ca_file the authority that signed it?" if settings.ca_file else "signed by yourself? Then give "
        )
        advice = trust if settings.ca_file else f"{trust}the authority's certificate in link.ca_file"
        problem = clean_text(error.verify_message or "not valid")
        return Refusal(f"the server's certificate is not trusted ({problem}): {advice}", is_hopeless=True)
    return Refusal(
        f"no TLS connection ({clean_text(error.reason or 'unknown reason')}): {_WSS_OR_WS}", is_hopeless=True
    )


def _no_websocket(error: WebSocketException) -> Refusal:
    if isinstance(error, InvalidMessage) and isinstance(error.__cause__, EOFError):
        return Refusal("the server ended the connection before it answered")
    return Refusal(
        f"something answers there, but not as a websocket ({clean_text(str(error))}): check host, port and path in "
        "link.url",
        is_hopeless=True,
    )


def _network(error: Exception, settings: WebsocketSettings) -> str:
    if isinstance(error, socket.gaierror | UnicodeError):
        return "this host name is not known: check link.url, or give the address in numbers"
    if isinstance(error, ConnectionRefusedError):
        return "nothing answers at this port: is the machine on, and is the port in link.url right?"
    if isinstance(error, TimeoutError):
        return "no answer: is the machine on and in this network?"
    if isinstance(error, ConnectionError):
        return (
            f"the server broke off the connection; {_WSS_OR_WS if settings.is_encrypted else 'is it the right port?'}"
        )
    text = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return clean_text(f"it cannot be reached ({text}): is the machine on and in this network?")
