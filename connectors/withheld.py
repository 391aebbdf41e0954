"""Keeps secrets out of files that get passed on: a recording carries the whole profile, tokens and all.

Works on plain tables by the names of their keys, and on addresses inside text. Knows nothing of any profile's layout.
"""

import re
from collections.abc import Mapping
from typing import Any, Final

WITHHELD: Final = "(withheld)"

_SECRET_WORD = r"token|passw(?:or)?d|passphrase|secret|authori[sz]ation|credential|cookie|api[-_]?key"  # noqa: S105 -- words, no secret
_SECRET_KEY = re.compile(_SECRET_WORD, re.IGNORECASE)
_PLACE_KEY = re.compile(r"[-_](?:file|path|env)$", re.IGNORECASE)
_USER_IN_ADDRESS = re.compile(r"(?<=://)[^/?#\s@]+(?=@)")
_SECRET_IN_TEXT = re.compile(
    rf"""((?:{_SECRET_WORD})["']?\s*[=:]\s*["']?(?:(?:bearer|basic)\s+)?)[^"'&\s,}}]+""", re.IGNORECASE
)


def without_secrets(value: Any) -> Any:  # noqa: ANN401 -- any plain table
    """Copy of a plain table (mappings, sequences, scalars) in which secrets are replaced by `WITHHELD`.

    A value is secret when its key says so (``token``, ``password`` …; ``token_file`` names a place and stays), and so
    are the user part of an address and ``token=…`` inside any text.

    >>> without_secrets({"token": "xyz", "token_file": "/etc/t", "url": "wss://me:pw@box.local/ws?token=abc&q=1"})
    {'token': '(withheld)', 'token_file': '/etc/t', 'url': 'wss://(withheld)@box.local/ws?token=(withheld)&q=1'}
    """
    if isinstance(value, Mapping):
        return {
            str(key): _blank(item) if _is_secret(str(key)) else without_secrets(item) for key, item in value.items()
        }
    if isinstance(value, list | tuple):
        return [without_secrets(item) for item in value]
    if isinstance(value, str):
        return _SECRET_IN_TEXT.sub(rf"\g<1>{WITHHELD}", _USER_IN_ADDRESS.sub(WITHHELD, value))
    return value


def _is_secret(key: str) -> bool:
    return _SECRET_KEY.search(key) is not None and _PLACE_KEY.search(key) is None


def _blank(value: Any) -> Any:  # noqa: ANN401 -- any plain table
    """Every text below a secret key goes; its shape stays, so that the table still reads as a profile."""
    if isinstance(value, Mapping):
        return {str(key): _blank(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_blank(item) for item in value]
    return WITHHELD if isinstance(value, str | int | float) and not isinstance(value, bool) else value
