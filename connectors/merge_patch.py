"""JSON Merge Patch (RFC 7396), with the two departures that status feeds are known to make.

Pure; neither the document nor the patch is changed. The caller bounds the depth of nesting.
"""

from typing import Literal

from connectors.json_pointer import Json

Null = Literal["delete", "value"]
Arrays = Literal["replace", "by_index"]


def merge_patch(
    document: Json,
    patch: Json,
    null: Null = "delete",
    arrays: Arrays = "replace",
) -> Json:
    """Document after the patch.

    Parameters
    ----------
    document, patch : JSON values
        What was known, and what changed. Objects merge, everything else replaces.
    null : {"delete", "value"}
        "delete" is the RFC: a null removes the member. "value": a null is a value like any other.
    arrays : {"replace", "by_index"}
        "replace" is the RFC: an array is replaced whole. "by_index": element by element; a shorter array leaves the
        rest as it was, and a null is a value, because removing an element would move all those behind it.

    Examples
    --------
    >>> merge_patch({"a": 1, "b": {"c": 2}}, {"a": None, "b": {"d": 3}})
    {'b': {'c': 2, 'd': 3}}
    >>> merge_patch([1, 2, 3], [9], arrays="by_index")
    [9, 2, 3]
    """
    if isinstance(patch, dict):
        return _merge_object(document, patch, null, arrays)
    if isinstance(patch, list) and arrays == "by_index":
        return _merge_array(document if isinstance(document, list) else [], patch, null, arrays)
    return patch


def _merge_object(document: Json, patch: dict[str, Json], null: Null, arrays: Arrays) -> dict[str, Json]:
    merged = dict(document) if isinstance(document, dict) else {}
    for name, change in patch.items():
        if change is None and null == "delete":
            merged.pop(name, None)
        else:
            merged[name] = merge_patch(merged.get(name), change, null, arrays)
    return merged


def _merge_array(document: list[Json], patch: list[Json], null: Null, arrays: Arrays) -> list[Json]:
    known = dict(enumerate(document))
    merged = [merge_patch(known.get(place), change, null, arrays) for place, change in enumerate(patch)]
    return merged + document[len(patch) :]
