"""The secret that lets a browser in, and what is derived from it.

Owns making and reading it, and every comparison. The secret itself stands in the address that the owner opens, once;
after that the browser holds a pass that was derived from it, and knows a path that no other page can guess.
"""

import hashlib
import hmac
import os
import re
import secrets
import stat
from base64 import urlsafe_b64encode
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from connectors.clean_text import clean_text

TOKEN_BYTES: Final = 32
"""Random bytes of a token that we make; RFC 6750, section 5.2, leaves the number to us."""

LEAST_LETTERS: Final = 32
LONGEST_TOKEN: Final = 200

_TOKEN: Final = re.compile(r"[A-Za-z0-9._~-]+")
_OTHERS: Final = stat.S_IRWXG | stat.S_IRWXO


class TokenError(Exception):
    """A file of a token cannot be used; the text says why and what to do, and holds nothing of it."""


@dataclass(frozen=True, slots=True)
class Token:
    """A secret, which shows in no representation."""

    text: str = field(repr=False)

    def is_same(self, given: str) -> bool:
        """Whether somebody knows it; takes as long whatever was given."""
        return _is_same(self.text, given)

    @property
    def path(self) -> str:
        """Where the page is: not to be guessed, so that no other server of this host is ever sent the pass.

        Browsers tell cookies apart by host and path, and not by port (RFC 6265, section 8.5).
        """
        return f"/{self._derived('path')[:22]}/"

    def is_pass(self, given: str) -> bool:
        """Whether somebody holds the pass."""
        return _is_same(self.pass_text, given)

    @property
    def pass_text(self) -> str:
        """What the browser keeps in place of the token."""
        return self._derived("pass")

    def _derived(self, purpose: str) -> str:
        digest = hmac.digest(self.text.encode(), f"strandwatch {purpose}".encode(), hashlib.sha256)
        return urlsafe_b64encode(digest).decode().rstrip("=")


def new_token() -> Token:
    """Make one for this start."""
    return Token(secrets.token_urlsafe(TOKEN_BYTES))


def read_token(path: Path) -> Token:
    """Read the owner's own.

    Raises
    ------
    TokenError
        When the file cannot be read, can be read by others, or holds something else.
    """
    shown = clean_text(str(path))
    try:
        text = _private_text(path, shown)
    except OSError as error:
        raise TokenError(f"{shown} cannot be read: {error.strerror}") from None
    if not (LEAST_LETTERS <= len(text) <= LONGEST_TOKEN and _TOKEN.fullmatch(text)):
        raise TokenError(
            f"{shown} does not hold a token: one line of {LEAST_LETTERS} to {LONGEST_TOKEN} letters, digits or '-._~',"
            " which nobody can guess. This makes one: python3 -c 'import secrets; print(secrets.token_urlsafe(32))'"
        )
    return Token(text)


def _private_text(path: Path, shown: str) -> str:
    descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    with os.fdopen(descriptor, encoding="ascii", errors="replace") as file:
        status = os.fstat(descriptor)
        if not stat.S_ISREG(status.st_mode):
            raise TokenError(f"{shown} is no plain file")
        if status.st_mode & _OTHERS:
            raise TokenError(f"{shown} can be read by others, so it is no secret: chmod 600 {shown}, with a new token")
        return file.read(LONGEST_TOKEN + 3).strip()


def _is_same(secret: str, given: str) -> bool:
    return hmac.compare_digest(secret.encode(), given.encode(errors="replace"))
