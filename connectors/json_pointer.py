"""JSON Pointer (RFC 6901): names one place in a JSON document, or says in words why it is not there.

Pure; knows nothing of messages or channels. "Not there" and "there, but null" stay two different things.
"""

import re
from collections.abc import Sequence
from typing import Any, Final

Json = Any
"""Any JSON value as Python reads it."""

Tokens = tuple[str, ...]

_BAD_ESCAPE: Final = re.compile(r"~(?![01])")
_INDEX: Final = re.compile(r"0|[1-9][0-9]{0,8}", re.ASCII)
NEXT_ELEMENT: Final = "-"


class NotThereError(Exception):
    """Nothing stands at that place; the text says why."""


def parse_pointer(text: str) -> Tokens:
    """Split a pointer into its unescaped tokens; the whole document is `()`.

    Raises ValueError for text that is no pointer.

    >>> parse_pointer("/heat/zone~1rear/0")
    ('heat', 'zone/rear', '0')
    """
    if text == "":
        return ()
    if not text.startswith("/"):
        raise ValueError(f"{text!r} is no JSON Pointer: it must be empty or begin with '/'")
    if _BAD_ESCAPE.search(text):
        raise ValueError(f"{text!r} is no JSON Pointer: write '~0' for '~' and '~1' for '/'")
    return tuple(token.replace("~1", "/").replace("~0", "~") for token in text[1:].split("/"))


def pointer_text(tokens: Sequence[str | int]) -> str:
    """Write tokens as a pointer.

    >>> pointer_text(["a/b", 0])
    '/a~1b/0'
    """
    return "".join("/" + str(token).replace("~", "~0").replace("/", "~1") for token in tokens)


def find(document: Json, tokens: Tokens) -> Json:
    """Value at a place of a document.

    Raises NotThereError with the reason when nothing stands there.

    >>> find({"feed": [{"run": 12.5}]}, ("feed", "0", "run"))
    12.5
    """
    for depth, token in enumerate(tokens):
        try:
            document = child(document, token)
        except NotThereError as missing:
            raise NotThereError(f"{pointer_text(tokens[: depth + 1])} is missing: {missing}") from None
    return document


def child(container: Json, token: str) -> Json:
    """Value one step down; raises NotThereError."""
    if isinstance(container, dict):
        if token not in container:
            raise NotThereError("no such member")
        return container[token]
    if isinstance(container, list):
        place = element_index(token)
        if place >= len(container):
            raise NotThereError(f"the array has a length of {len(container)}")
        return container[place]
    raise NotThereError("null has no members" if container is None else "a plain value has no members")


def element_index(token: str) -> int:
    """Place in an array that a token names; raises NotThereError.

    `-` names the element after the last, which is never there.
    """
    if token == NEXT_ELEMENT:
        raise NotThereError("'-' names the element after the last")
    if not _INDEX.fullmatch(token):
        raise NotThereError("an array needs a plain number from 0, without leading zeros")
    return int(token)
