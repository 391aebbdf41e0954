"""What lets us in: the access token and the trust in the server's certificate.

Owns the reading of both, and keeps the token out of every message. Blocking file access, done once before connecting.
"""

import os
import re
import ssl
import stat
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from connectors.clean_text import clean_text
from connectors.errors import SettingsError
from connectors.websocket_settings import TOKEN_MARK, WebsocketSettings
from connectors.withheld import WITHHELD

LONGEST_TOKEN: Final = 4096
_TOKEN: Final = re.compile(r"""[!#-\[\]-~]+""")
_TELLING: Final = 4
"""So many characters of a token, at a cut, are already too many to show."""
_READABLE_BY_OTHERS: Final = stat.S_IRWXG | stat.S_IRWXO


@dataclass(frozen=True, slots=True)
class Access:
    """Token and certificates, ready for use; neither shows in the representation."""

    headers: Mapping[str, str] = field(repr=False)
    tls: ssl.SSLContext | None = field(repr=False)
    token: str | None = field(repr=False, default=None)

    def filled(self, text: str) -> str:
        """A text of the profile with the token in its place."""
        return text if self.token is None else text.replace(TOKEN_MARK, self.token)

    def without_token(self, text: str) -> str:
        """A text from outside without the token, should the server have repeated it; also where it was cut within."""
        if self.token is None:
            return text
        text = text.replace(self.token, WITHHELD)
        bare = text.removesuffix("…")
        for length in range(len(self.token) - 1, _TELLING - 1, -1):
            if bare.endswith(self.token[:length]):
                return bare[:-length] + WITHHELD + text[len(bare) :]
        return text


def read_access(settings: WebsocketSettings, environment: Mapping[str, str] = os.environ) -> Access:
    """Read token and certificates; raises SettingsError, which says what to do."""
    token = _read_token(settings, environment)
    is_in_text = any(TOKEN_MARK in text for text in settings.texts)
    headers = {} if token is None or is_in_text else {settings.auth_header: settings.auth_prefix + token}
    return Access(headers, _read_trust(settings), token)


def _read_token(settings: WebsocketSettings, environment: Mapping[str, str]) -> str | None:
    if settings.token_env is not None:
        name = clean_text(settings.token_env)
        found = environment.get(settings.token_env)
        if found is None:
            raise SettingsError(f"link.token_env: there is no environment variable {name}; set it, or use token_file")
        return _checked(found, f"environment variable {name}")
    if settings.token_file is None:
        return None
    path, shown = Path(settings.token_file), clean_text(settings.token_file)
    try:
        return _checked(_read_private(path, shown), f"file {shown}")
    except OSError as error:
        raise SettingsError(f"link.token_file: {shown} cannot be read: {error.strerror}") from None


def _read_private(path: Path, shown: str) -> str:
    """Text of a file that its owner alone may read."""
    mode = path.stat().st_mode
    if not stat.S_ISREG(mode):
        raise SettingsError(f"link.token_file: {shown} is no plain file")
    if mode & _READABLE_BY_OTHERS:
        raise SettingsError(
            f"link.token_file: others on this computer may read {shown}; close it with: chmod 600 {shown}"
        )
    with path.open("rb") as file:
        return file.read(LONGEST_TOKEN + 1).decode("latin-1")


def _checked(text: str, where: str) -> str:
    token = text.strip()
    if not _TOKEN.fullmatch(token) or len(token) > LONGEST_TOKEN:
        raise SettingsError(
            f"the access token in {where} is empty, too long, or holds blanks, quotes or other signs that no token "
            "has; the token alone must stand there, on one line"
        )
    return token


def _read_trust(settings: WebsocketSettings) -> ssl.SSLContext | None:
    if not settings.is_encrypted:
        return None
    shown = clean_text(settings.ca_file or "")
    try:
        return ssl.create_default_context(cafile=settings.ca_file)
    except ssl.SSLError:
        raise SettingsError(f"link.ca_file: {shown} holds no certificate in PEM format") from None
    except OSError as error:
        raise SettingsError(f"link.ca_file: {shown} cannot be read: {error.strerror}") from None
