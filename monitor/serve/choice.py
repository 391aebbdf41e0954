"""How a watch is to be served to browsers, as its owner chose."""

import ssl
from dataclasses import dataclass, field
from pathlib import Path

from monitor.serve.address import Listening
from monitor.serve.token import Token


@dataclass(frozen=True, slots=True)
class Choice:
    """What the owner chose.

    Parameters
    ----------
    listening : Listening
        Where it listens.
    token : Token
        What lets a browser in.
    token_file : Path or None
        Where the token was read from; None where it was made for this start.
    public : tuple of str
        Further origins under which it is called, as in 'https://watch.example'.
    may_ask : bool
        Whether a browser may acknowledge, shelve, reset and take out of service.
    tls : ssl.SSLContext or None
        Certificate and key; None for plain http.
    """

    listening: Listening
    token: Token
    token_file: Path | None = None
    public: tuple[str, ...] = ()
    may_ask: bool = False
    tls: ssl.SSLContext | None = field(default=None, repr=False)

    @property
    def scheme(self) -> str:
        """'https' or 'http'."""
        return "http" if self.tls is None else "https"
