"""What becomes of a request before anything of the watch is shown: a pure decision from its path and headers.

Owns the order of the questions: is it meant for us (Host), does it come from our own page (Origin), does it know the
token or hold the pass. Whoever fails one learns which, and nothing else. Knows no sockets.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from http import HTTPStatus
from typing import Final
from urllib.parse import parse_qs, urlsplit

from monitor.serve.token import Token

LIVE: Final = "live"
"""Name of the websocket, beside the page."""

_LONGEST_QUERY: Final = 2_000
_AGAIN: Final = "again"

OPEN_AGAIN: Final = (
    "strandwatch lets in who opens the address with the token that it gave when it started.\n"
    "This one lacks it, or belongs to an earlier start.\n"
)


@dataclass(frozen=True, slots=True)
class Asked:
    """A request, as far as it matters.

    Parameters
    ----------
    method, target : str
        As in the request's first line.
    hosts, origins, cookies : sequence of str
        All values of these headers.
    is_upgrade : bool
        Whether it wants to become a websocket.
    """

    method: str
    target: str
    hosts: Sequence[str]
    origins: Sequence[str] = ()
    cookies: Sequence[str] = ()
    is_upgrade: bool = False


@dataclass(frozen=True, slots=True)
class Refused:
    """Not let in."""

    status: HTTPStatus
    text: str


@dataclass(frozen=True, slots=True)
class LetIn:
    """Knew the token: is given the pass and sent on to the page, whose address holds no secret."""

    origin: str


@dataclass(frozen=True, slots=True)
class OnceMore:
    """A page of another site led here, so that the browser kept the pass to itself: have it ask by itself."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """Let in, and wants a part of the page, or the websocket (`LIVE`)."""

    name: str
    origin: str


Decision = Refused | LetIn | OnceMore | Wanted


def decide(asked: Asked, token: Token, ours: Sequence[str], cookie: str) -> Decision:
    """Decide about a request.

    Parameters
    ----------
    asked : Asked
    token : Token
    ours : sequence of str
        Origins that can be ours, as in 'http://127.0.0.1:8642'.
    cookie : str
        Name of the cookie that holds the pass.
    """
    origin = _origin(asked, ours)
    if isinstance(origin, Refused):
        return origin
    if asked.method != "GET":
        return Refused(HTTPStatus.METHOD_NOT_ALLOWED, "only GET\n")
    return (_websocket if asked.is_upgrade else _page)(asked, token, origin, cookie)


_REFUSED: Final = Refused(HTTPStatus.UNAUTHORIZED, OPEN_AGAIN)


def _page(asked: Asked, token: Token, origin: str, cookie: str) -> Decision:
    path, _, query = asked.target.partition("?")
    if path == "/" and token.is_same(_token_in(query)):
        return LetIn(origin)
    if not path.startswith(token.path):
        return _REFUSED
    if not _holds_pass(asked, token, cookie):
        return OnceMore() if path == token.path and query != _AGAIN else _REFUSED
    return Wanted(path.removeprefix(token.path), origin)


def _websocket(asked: Asked, token: Token, origin: str, cookie: str) -> Decision:
    if not asked.origins:  # every browser names it (RFC 6455, section 10.2)
        return Refused(HTTPStatus.FORBIDDEN, "a websocket must say by its Origin which page it belongs to\n")
    if asked.target != token.path + LIVE or not _holds_pass(asked, token, cookie):
        return _REFUSED
    return Wanted(LIVE, origin)


def _origin(asked: Asked, ours: Sequence[str]) -> str | Refused:
    """Which of our origins is meant; both headers must be of the same one."""
    meant = [origin for origin in ours if len(asked.hosts) == 1 and urlsplit(origin).netloc == asked.hosts[0].lower()]
    if not meant:
        return Refused(
            HTTPStatus.FORBIDDEN,
            "strandwatch is not called by this name (Host): open the address that it gave when it started,"
            " or tell it the name with --serve-as\n",
        )
    if asked.origins and (len(asked.origins) > 1 or asked.origins[0].lower() not in meant):
        return Refused(HTTPStatus.FORBIDDEN, "another page asks for this (Origin)\n")
    return asked.origins[0].lower() if asked.origins else meant[0]


def _token_in(query: str) -> str:
    if len(query) > _LONGEST_QUERY:
        return ""
    given = parse_qs(query, max_num_fields=4) if query.count("&") < 4 else {}  # noqa: PLR2004 -- ours has one
    return given.get("token", [""])[0]


def _holds_pass(asked: Asked, token: Token, cookie: str) -> bool:
    """Whether a cookie of ours is right; other servers of this host may have set some of the same name."""
    given = [part.strip().partition("=") for header in asked.cookies for part in header.split(";")]
    return any(token.is_pass(value) for name, _, value in given if name == cookie)
