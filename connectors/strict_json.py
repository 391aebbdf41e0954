"""JSON (RFC 8259) read strictly: what is not JSON, or means two things, is refused with a reason. Pure.

Python's own reader takes NaN and the last of two members of one name, and fails deep in nested text.
"""

import json
from collections.abc import Iterable
from itertools import chain, islice
from typing import Final, NoReturn

from connectors.json_pointer import Json

DEEPEST: Final = 64
"""More levels of nesting than any status needs; a bound, so that walking a document cannot run out of stack."""

MOST_VALUES: Final = 200_000
"""More values than any status has; a bound, so that a faulty sender cannot fill the memory."""


class NotJsonError(Exception):
    """The text cannot be used as JSON; the message says why."""


def read_json(raw: str | bytes) -> Json:
    """JSON value of a text; raises NotJsonError.

    Refused: NaN and Infinity, two members of one name with different values, bytes that are not UTF-8, and what
    `is_bounded` does not hold for.

    >>> read_json('{"now": 201.5}')
    {'now': 201.5}
    """
    try:
        text = raw if isinstance(raw, str) else raw.decode("utf-8")
        document = json.loads(text, parse_constant=_refuse_constant, object_pairs_hook=_members)
    except UnicodeDecodeError:
        raise NotJsonError("not UTF-8") from None
    except RecursionError:
        raise NotJsonError(f"nested deeper than {DEEPEST} levels") from None
    except json.JSONDecodeError as error:
        raise NotJsonError(f"not JSON: {error.msg} at character {error.pos + 1}") from None
    except ValueError as error:  # a whole number of more digits than the reader takes
        raise NotJsonError(f"not usable as JSON: {error}") from None
    if not is_bounded(document):
        raise NotJsonError(f"nested deeper than {DEEPEST} levels, or more than {MOST_VALUES} values")
    return document


def is_bounded(document: Json) -> bool:
    """Tell whether a document has at most `DEEPEST` levels and `MOST_VALUES` values; counts level by level."""
    level, left = [document], MOST_VALUES - 1
    for _ in range(DEEPEST + 1):
        level = list(islice(chain.from_iterable(map(_children, level)), left + 1))
        left -= len(level)
        if not level or left < 0:
            return left >= 0
    return False


def _refuse_constant(word: str) -> NoReturn:
    raise NotJsonError(f"{word} is not JSON")


def _members(pairs: list[tuple[str, Json]]) -> dict[str, Json]:
    members = dict(pairs)
    if len(members) < len(pairs):
        for name, value in pairs:
            if members[name] != value:
                raise NotJsonError(f"two members {name!r} with different values")
    return members


def _children(value: Json) -> Iterable[Json]:
    if isinstance(value, dict):
        return value.values()
    return value if isinstance(value, list) else ()
