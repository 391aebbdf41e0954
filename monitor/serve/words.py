"""Where to open the watch in a browser, in words."""

import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from connectors.clean_text import clean_text
from monitor.serve.address import authority
from monitor.serve.choice import Choice

_ELSEWHERE: Final = {socket.AF_INET: "192.0.2.1", socket.AF_INET6: "2001:db8::1"}
"""Addresses of documentation (RFC 5737, RFC 3849): nothing is sent there."""


def address(choice: Choice) -> str:
    """The address to open, with the token."""
    return f"{_origin(choice)}/?token={choice.token.text}"


def where_to_open(choice: Choice, shown: str, kept: Path | None) -> str:
    """One line that says where to open it; `shown` is the whole address, empty where it must not be shown."""
    what = "look on and ask" if choice.may_ask else "look on"
    if choice.token_file is not None and not shown:
        return f"a browser can {what} at {_origin(choice)}/?token=…, with the token of {_name(choice.token_file)}"
    if not shown:
        in_file = "nowhere, as no private file could be written" if kept is None else f"in {_name(kept)}"
        return f"a browser can {what} at {_origin(choice)}; the address with its token is {in_file}"
    beside = "" if kept is None else f" (also in {_name(kept)})"
    return f"a browser can {what} at {shown}{beside}"


def caution(choice: Choice) -> Iterator[str]:
    """What the owner should know of the way there."""
    is_open = not choice.listening.is_own_computer_only and choice.tls is None
    if is_open and not any(origin.startswith("https:") for origin in choice.public):
        yield (
            "caution: plain http; whoever listens to this network sees the watch and can take the token."
            " Use it in your own network only, or with --serve-cert"
        )


def _origin(choice: Choice) -> str:
    if choice.public:
        return choice.public[0]
    host = choice.listening.host
    if choice.listening.is_everywhere:
        host = _own_address(socket.AF_INET6 if ":" in host else socket.AF_INET) or host
    return f"{choice.scheme}://{authority(host, choice.listening.port, choice.scheme)}"


def _own_address(family: socket.AddressFamily) -> str:
    """Address by which this computer would reach the world; empty when it has none."""
    with socket.socket(family, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect((_ELSEWHERE[family], 9))  # sends nothing (connect(2), on datagrams)
        except OSError:
            return ""
        return str(probe.getsockname()[0])


def _name(path: Path) -> str:
    return clean_text(str(path))
