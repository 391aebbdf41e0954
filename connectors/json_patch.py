"""Two kinds of lists of changes: JSON Patch (RFC 6902), and plain pairs of a name and its new value.

Pure: each returns a new document or raises `PatchError`, so a list is applied whole or not at all. Parts that did not
change are shared with the old document, which is never altered.
"""

from collections.abc import Callable
from typing import Final

from connectors.json_pointer import NEXT_ELEMENT, Json, NotThereError, Tokens, child, element_index, find, parse_pointer

_ABSENT: Final = object()


class PatchError(Exception):
    """The changes do not fit the document; the text says which and why."""


def apply_patch(document: Json, operations: Json) -> Json:
    """Document after all operations of a JSON Patch, in order.

    >>> apply_patch({"feed": [1]}, [{"op": "add", "path": "/feed/-", "value": 2}])
    {'feed': [1, 2]}
    """
    for number, operation in enumerate(_listed(operations), start=1):
        try:
            document = _OPERATIONS[_text(operation, "op")](document, operation)
        except KeyError:
            raise PatchError(f"operation {number}: there is no operation {operation['op']!r}") from None
        except (NotThereError, ValueError, PatchError) as error:
            raise PatchError(f"operation {number}: {error}") from None
    return document


def apply_pairs(document: Json, pairs: Json) -> Json:
    """Document after `[[name, value], ...]`; a name that begins with '/' is a pointer, any other a member's name.

    >>> apply_pairs({"t10": 2100, "ext": [0]}, [["t10", 2104], ["/ext/0", 7]])
    {'t10': 2104, 'ext': [7]}
    """
    for number, pair in enumerate(_listed(pairs), start=1):
        match pair:
            case [str(name), value]:
                pass
            case _:
                raise PatchError(f"pair {number} is not a name and a value")
        try:
            document = set_at(document, parse_pointer(name) if name.startswith("/") else (name,), value)
        except (NotThereError, ValueError) as error:
            raise PatchError(f"pair {number}: {error}") from None
    return document


def set_at(document: Json, tokens: Tokens, value: Json) -> Json:
    """Document with `value` at a place: an element that is there, or a member, new or not.

    Raises NotThereError when what should hold it is not there.
    """

    def put(container: Json, token: str) -> Json:
        if isinstance(container, dict):
            return {**container, token: value}
        child(container, token)
        return _spliced(container, element_index(token), 1, value)

    return _rebuilt(document, tokens, put) if tokens else value


def _add(document: Json, operation: Json) -> Json:
    return _insert(document, _place(operation, "path"), _value(operation))


def _remove(document: Json, operation: Json) -> Json:
    return _cut(document, _place(operation, "path"))


def _replace(document: Json, operation: Json) -> Json:
    place, value = _place(operation, "path"), _value(operation)
    find(document, place)
    return set_at(document, place, value)


def _move(document: Json, operation: Json) -> Json:
    source, target = _place(operation, "from"), _place(operation, "path")
    value = find(document, source)
    if source == target:
        return document
    if target[: len(source)] == source:
        raise PatchError("a value cannot be moved into itself")
    return _insert(_cut(document, source), target, value)


def _copy(document: Json, operation: Json) -> Json:
    return _insert(document, _place(operation, "path"), find(document, _place(operation, "from")))


def _test(document: Json, operation: Json) -> Json:
    if not same_json(find(document, _place(operation, "path")), _value(operation)):
        raise PatchError(f"the test of {operation['path']!r} failed")
    return document


_OPERATIONS: Final[dict[str, Callable[[Json, Json], Json]]] = {
    "add": _add,
    "remove": _remove,
    "replace": _replace,
    "move": _move,
    "copy": _copy,
    "test": _test,
}


def same_json(one: Json, other: Json) -> bool:
    """Equality of JSON values: numbers by value, but true is no number.

    >>> same_json({"a": [1]}, {"a": [1.0]}), same_json(1, True)
    (True, False)
    """
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(same_json(one[name], other[name]) for name in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(same_json, one, other))
    return isinstance(one, bool) == isinstance(other, bool) and bool(one == other)


def _insert(document: Json, tokens: Tokens, value: Json) -> Json:
    def put(container: Json, token: str) -> Json:
        if isinstance(container, dict):
            return {**container, token: value}
        if not isinstance(container, list):
            raise NotThereError("a plain value has no members")
        place = len(container) if token == NEXT_ELEMENT else element_index(token)
        if place > len(container):
            raise NotThereError(f"the array has a length of {len(container)}")
        return _spliced(container, place, 0, value)

    return _rebuilt(document, tokens, put) if tokens else value


def _cut(document: Json, tokens: Tokens) -> Json:
    if not tokens:
        raise PatchError("the whole document cannot be removed")

    def drop(container: Json, token: str) -> Json:
        child(container, token)
        if isinstance(container, dict):
            return {name: value for name, value in container.items() if name != token}
        return _spliced(container, element_index(token), 1)

    return _rebuilt(document, tokens, drop)


def _rebuilt(document: Json, tokens: Tokens, change: Callable[[Json, str], Json]) -> Json:
    """Document in which the container of the last token went through `change`; only the way down to it is copied."""
    first, *rest = tokens
    if not rest:
        return change(document, first)
    below = _rebuilt(child(document, first), tuple(rest), change)
    if isinstance(document, dict):
        return {**document, first: below}
    return _spliced(document, element_index(first), 1, below)


def _spliced(array: list[Json], place: int, removed: int, *inserted: Json) -> list[Json]:
    return [*array[:place], *inserted, *array[place + removed :]]


def _listed(changes: Json) -> list[Json]:
    if not isinstance(changes, list):
        raise PatchError("the changes are not an array")
    return changes


def _place(operation: Json, member: str) -> Tokens:
    return parse_pointer(_text(operation, member))


def _text(operation: Json, member: str) -> str:
    text = operation.get(member) if isinstance(operation, dict) else None
    if not isinstance(text, str):
        raise PatchError(f"no text {member!r} in the operation")
    return text


def _value(operation: Json) -> Json:
    value = operation.get("value", _ABSENT)
    if value is _ABSENT:
        raise PatchError("no 'value' in the operation")
    return value
