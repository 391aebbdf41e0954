"""What is answered: the parts of the page, refusals, and the headers of every answer. Pure but for our own files.

Every answer says that nothing may be kept, framed, guessed at or fetched from elsewhere; the page's own parts are the
only script and style there is.
"""

from collections.abc import Mapping
from functools import cache
from http import HTTPStatus
from importlib.resources import files
from typing import Final, NamedTuple
from urllib.parse import urlsplit

from monitor.serve.guard import Decision, LetIn, OnceMore, Refused
from monitor.serve.token import Token

_PARTS: Final = {
    "": ("page.html", "text/html; charset=utf-8"),
    "screen.css": ("screen.css", "text/css; charset=utf-8"),
    "screen.js": ("screen.js", "text/javascript; charset=utf-8"),
    "icon.svg": ("icon.svg", "image/svg+xml"),
}
_PLAIN: Final = "text/plain; charset=utf-8"
_HTML: Final = "text/html; charset=utf-8"

_HEADERS: Final = {
    "Cache-Control": "no-store",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}
_ONCE_MORE: Final = (
    '<!doctype html><html lang="en"><meta charset="utf-8"><meta http-equiv="refresh" content="0;url=?again">'
    '<title>strandwatch</title><p><a href="?again">Go on to the watch</a></p></html>\n'
)


class Reply(NamedTuple):
    """An answer to a request that does not become a websocket."""

    status: HTTPStatus
    headers: Mapping[str, str]
    body: bytes


def reply(decision: Decision, token: Token, cookie: str) -> Reply:
    """Answer what was decided."""
    if isinstance(decision, Refused):
        challenge = {"WWW-Authenticate": "Token"} if decision.status is HTTPStatus.UNAUTHORIZED else {}
        return _made(decision.status, decision.text.encode(), _PLAIN, challenge)
    if isinstance(decision, LetIn):
        headers = {"Location": token.path, "Set-Cookie": _pass(decision, token, cookie)}
        return _made(HTTPStatus.SEE_OTHER, b"", _PLAIN, headers)
    if isinstance(decision, OnceMore):
        return _made(HTTPStatus.OK, _ONCE_MORE.encode(), _HTML)
    if decision.name not in _PARTS:
        return _made(HTTPStatus.NOT_FOUND, b"there is nothing of this name\n", _PLAIN)
    file, kind = _PARTS[decision.name]
    return _made(HTTPStatus.OK, _content(file), kind, {}, decision.origin)


def policy(origin: str = "") -> str:
    """What a page may load and do (Content Security Policy Level 3): its own parts, its own websocket, nothing else.

    The websocket is named in full for browsers in which 'self' does not cover it.
    """
    place = urlsplit(origin)
    live = f" {'wss' if place.scheme == 'https' else 'ws'}://{place.netloc}" if origin else ""
    loads = f"script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'{live}; " if origin else ""
    return f"default-src 'none'; {loads}base-uri 'none'; form-action 'none'; frame-ancestors 'none'"


def cookie_name(port: int) -> str:
    """Name of the cookie with the pass: several watches of one host must not take each other's."""
    return f"strandwatch-{port}"


def _pass(let_in: LetIn, token: Token, cookie: str) -> str:
    secure = "; Secure" if let_in.origin.startswith("https:") else ""
    return f"{cookie}={token.pass_text}; Path={token.path}; HttpOnly; SameSite=Strict{secure}"


def _made(status: HTTPStatus, body: bytes, kind: str, more: Mapping[str, str] | None = None, origin: str = "") -> Reply:
    own = {"Content-Type": kind, "Content-Length": str(len(body)), "Connection": "close"}
    return Reply(status, {**own, **_HEADERS, "Content-Security-Policy": policy(origin), **(more or {})}, body)


@cache
def _content(file: str) -> bytes:
    return (files("monitor.serve") / "static" / file).read_bytes()
