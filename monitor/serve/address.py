"""Where it listens, and by which names a browser may call it. Pure.

A page of somebody else can have its own name lead to this computer (DNS rebinding), and its script then speaks to us
in the name of that page. So only names that the owner can mean are answered: an address of numbers, at which the
connection came in, this computer's own 'localhost', and what the owner gave.
"""

import ipaddress
import re
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlsplit

DEFAULT_HOST: Final = "127.0.0.1"
DEFAULT_PORT: Final = 8642

_LAST_PORT: Final = 65_535
_DEFAULT_PORTS: Final = {"http": 80, "https": 443}
_NAME: Final = re.compile(r"[a-z0-9]([a-z0-9.-]{0,251}[a-z0-9])?")


@dataclass(frozen=True, slots=True)
class Listening:
    """Where it listens."""

    host: str = DEFAULT_HOST
    port: int = DEFAULT_PORT

    @property
    def is_own_computer_only(self) -> bool:
        """Whether nobody but this computer can reach it."""
        return self.host == "localhost" or ipaddress.ip_address(self.host).is_loopback

    @property
    def is_everywhere(self) -> bool:
        """Whether it listens at all addresses of this computer."""
        return self.host != "localhost" and ipaddress.ip_address(self.host).is_unspecified


def listening(text: str) -> Listening:
    """Where to listen, from `[HOST:]PORT` or `HOST`; ValueError says what is wrong.

    >>> listening("8700"), listening("0.0.0.0"), listening("[::1]:8700")
    (Listening(host='127.0.0.1', port=8700), Listening(host='0.0.0.0', port=8642), Listening(host='::1', port=8700))
    """
    if re.fullmatch(r"[0-9]+", text):
        return Listening(DEFAULT_HOST, _port(text))
    found = re.fullmatch(r"(\[[0-9A-Fa-f:.]+\]|[^\[\]:]+)(?::([0-9]+))?", text)
    if found is None:
        raise ValueError(f"{text!r} is no [HOST:]PORT, as in 8642, 192.168.1.20:8642 or [::1]:8642")
    host = found[1].strip("[]")
    return Listening(_host(host), DEFAULT_PORT if found[2] is None else _port(found[2]))


def _port(text: str) -> int:
    if not 0 < int(text[:9]) <= _LAST_PORT:
        raise ValueError(f"there is no port {text}; allowed: 1 to {_LAST_PORT}")
    return int(text)


def _host(text: str) -> str:
    if text == "localhost":
        return text
    try:
        return str(ipaddress.ip_address(text))
    except ValueError:
        raise ValueError(
            f"{text!r} is no address of numbers: name the address to listen at, as 0.0.0.0 for all; by which name it is"
            " called is said with --serve-as"
        ) from None


def public_origin(text: str) -> str:
    """An address under which it is reached, as a browser names it (RFC 6454, section 6.2); ValueError when it is none.

    >>> public_origin("https://Watch.example/"), public_origin("http://printer.local:8642")
    ('https://watch.example', 'http://printer.local:8642')
    """
    parts = urlsplit(text)
    name = parts.hostname or ""
    if parts.scheme not in _DEFAULT_PORTS or not _is_host(name) or parts.username or parts.path.strip("/"):
        raise ValueError(f"{text!r} is no address as https://watch.example or http://name.local:8642")
    if parts.query or parts.fragment:
        raise ValueError(f"{text!r} must end with the name or its port")
    return f"{parts.scheme}://{authority(name, parts.port or _DEFAULT_PORTS[parts.scheme], parts.scheme)}"


def authority(host: str, port: int, scheme: str) -> str:
    """Host and port as they stand in an address.

    >>> authority("::1", 8642, "http"), authority("watch.example", 443, "https")
    ('[::1]:8642', 'watch.example')
    """
    shown = f"[{host}]" if ":" in host else host
    return shown if port == _DEFAULT_PORTS[scheme] else f"{shown}:{port}"


def origins(at: tuple[str, int], scheme: str, public: tuple[str, ...]) -> tuple[str, ...]:
    """Origins of which a page can be ours, for a connection that came in `at` this address and port."""
    host, port = plain_host(at[0]), at[1]
    names = [host, "localhost"] if ipaddress.ip_address(host).is_loopback else [host]
    return (*(f"{scheme}://{authority(name, port, scheme)}" for name in names), *public)


def plain_host(host: str) -> str:
    """An address without its zone, and an IPv4 address that came through IPv6 as itself.

    >>> plain_host("::ffff:192.0.2.7"), plain_host("fe80::1%eth0")
    ('192.0.2.7', 'fe80::1')
    """
    found = ipaddress.ip_address(host.partition("%")[0])
    mapped = found.ipv4_mapped if isinstance(found, ipaddress.IPv6Address) else None
    return str(found if mapped is None else mapped)


def _is_host(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return _NAME.fullmatch(name) is not None
    return True
