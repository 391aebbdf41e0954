"""What a page may say: a key that was pressed, and the size it has room for. Pure; distrusts every byte."""

import re
from typing import Annotated, Final

import msgspec

LONGEST: Final = 200
"""Longest message of a page [bytes]; the longest that ours sends has 40."""

LEAST_COLUMNS, MOST_COLUMNS = 20, 300
LEAST_ROWS, MOST_ROWS = 12, 150

_NAMED: Final = frozenset({
    "up", "down", "left", "right", "enter", "escape", "tab", "shift+tab", "backspace", "home", "end", "pageup",
    "pagedown",
})  # fmt: skip
_LETTER: Final = re.compile(r"[^\x00-\x1f\x7f-\x9f\ud800-\udfff]")

_Cells = Annotated[int, msgspec.Meta(ge=0, le=10_000)]


class Pressed(msgspec.Struct, frozen=True, tag_field="say", tag="key", forbid_unknown_fields=True):
    """A key: a character, or the name of one that types none."""

    key: Annotated[str, msgspec.Meta(min_length=1, max_length=12)]


class Sized(msgspec.Struct, frozen=True, tag_field="say", tag="size", forbid_unknown_fields=True):
    """Room for so many cells."""

    columns: _Cells
    rows: _Cells

    @property
    def bounded(self) -> tuple[int, int]:
        """Columns and rows that are drawn for it."""
        columns = min(MOST_COLUMNS, max(LEAST_COLUMNS, self.columns))
        return columns, min(MOST_ROWS, max(LEAST_ROWS, self.rows))


class NotUnderstoodError(Exception):
    """A page of ours does not speak so."""


def heard(message: str | bytes) -> Pressed | Sized:
    """Read a message.

    Raises
    ------
    NotUnderstoodError
        When it is none that our page sends.
    """
    if not isinstance(message, str):
        raise NotUnderstoodError("binary")
    try:
        said: Pressed | Sized = _DECODER.decode(message)
    except (msgspec.MsgspecError, ValueError, RecursionError):
        raise NotUnderstoodError("no message of this page") from None
    if isinstance(said, Pressed) and not (said.key in _NAMED or _LETTER.fullmatch(said.key)):
        raise NotUnderstoodError("no key")
    return said


_DECODER: Final = msgspec.json.Decoder[Pressed | Sized](Pressed | Sized)
