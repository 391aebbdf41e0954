"""Which texts a profile may make us send, and which are refused because a machine could take them for a command.

Pure. It cannot guarantee that a text is harmless: it refuses what looks like a command of the trade, also when that is
hidden behind JSON escapes, and anything that is not one line.
"""

import re
from collections.abc import Iterator
from typing import Final

from connectors.json_pointer import Json
from connectors.strict_json import NotJsonError, read_json

_COMMAND: Final = re.compile(r"\b[GMT]\d", re.IGNORECASE | re.ASCII)
_NOT_ONE_LINE: Final = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]")


def check_sendable(text: str) -> str:
    """Return `text`; raises ValueError when it must not be sent.

    >>> check_sendable('{"method": "watch.begin"}')
    '{"method": "watch.begin"}'
    """
    for part in _parts(text):
        if found := _COMMAND.search(part):
            raise ValueError(
                f"holds {found[0]!r}, which a machine could take for a command; only texts that ask for data may be "
                "sent, so no letter G, M or T may be followed by a digit at the start of a word"
            )
        if _NOT_ONE_LINE.search(part):
            raise ValueError("holds a line break or control character; a text must be one line")
    return text


def _parts(text: str) -> Iterator[str]:
    """The text as it stands, and all texts in it as a JSON reader would see them."""
    yield text
    try:
        yield from _texts_in(read_json(text))
    except NotJsonError:
        return


def _texts_in(value: Json) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for name, below in value.items():
            yield name
            yield from _texts_in(below)
    elif isinstance(value, list):
        for below in value:
            yield from _texts_in(below)
