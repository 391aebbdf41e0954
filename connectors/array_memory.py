"""Is it still the same element of the same array? For channels that are read by place, not by name.

Pure; knows nothing of what the values mean.
"""

from typing import Final

from connectors.json_pointer import Json, Tokens, child, pointer_text

_IDENTITIES: Final = ("id", "name")

Shape = tuple[tuple[int, Json], ...]
"""Length of every array on the way to a value, and the name of the element taken from it."""


class ArrayMemory:
    """Notices that an array read by place changed its length, or that another element stands at the place."""

    def __init__(self, tokens: Tokens) -> None:
        self._tokens = tokens
        self._known: Shape | None = None
        self._pending: Shape | None = None
        self.asks_for_full = False

    def check(self, document: Json, *, is_full: bool) -> str | None:
        """Reason not to take the value, if there is one.

        A new length is believed once a full status shows it again; an element with another name never is.
        """
        self.asks_for_full = False
        shape = _shape(document, self._tokens)
        if self._known is None or (is_full and shape == self._pending and _same_names(shape, self._known)):
            self._known = shape
        if shape == self._known:
            self._pending = None
            return None
        self.asks_for_full = shape != self._pending and not is_full
        self._pending = shape
        return _difference(self._known, shape, self._tokens)


def _shape(document: Json, tokens: Tokens) -> Shape:
    """Length of every array on the way, and the name of the element that is taken from it."""
    shape = []
    for token in tokens:
        below = child(document, token)
        if isinstance(document, list):
            shape.append((len(document), _identity(below)))
        document = below
    return tuple(shape)


def _identity(element: Json) -> Json:
    if not isinstance(element, dict):
        return None
    return next((element[key] for key in _IDENTITIES if isinstance(element.get(key), str | int)), None)


def _same_names(one: Shape, other: Shape) -> bool:
    return [name for _, name in one] == [name for _, name in other]


def _difference(known: Shape, shape: Shape, tokens: Tokens) -> str:
    place = pointer_text(tokens)
    for (was, was_name), (now, now_name) in zip(known, shape, strict=False):
        if was_name != now_name:
            return f"at {place} stands {now_name!r} where {was_name!r} stood: use find, so that order does not matter"
        if was != now:
            return f"an array on the way to {place} has {now} elements, had {was}: is it still the same one?"
    return f"{place} lies in other arrays than before"
