"""What a place in the profile may hold, in words, read off the JSON Schema of its typed model.

Owns the walk through the schema and the wording of 'allowed'. Knows nothing of faults, files or what the keys mean.
"""

from collections.abc import Mapping, Sequence
from typing import Any, Final

Node = Mapping[str, Any]

_TYPES: Final = {
    "string": "text",
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
    "array": "a list",
    "object": "a table",
}


def node_at(schema: Node, path: Sequence[str | int], table: object) -> Node:
    """Follow `path` through the schema; `table` decides between the shapes that a `kind` key tells apart."""
    node = _resolved(schema, schema, table)
    for step in path:
        table = child_at(table, step)
        node = _resolved(schema, _below(node, step), table)
    return node


def known_keys(node: Node) -> list[str]:
    """List the keys that a table may hold."""
    return list(node.get("properties", {}))


def allowed_text(node: Node) -> str:
    """Say what may stand at a node; empty when the schema does not tell.

    >>> allowed_text({"type": "number", "exclusiveMinimum": 0, "maximum": 5})
    'a number above 0 up to 5'
    """
    if "anyOf" in node:
        return " or ".join(dict.fromkeys(filter(None, map(allowed_text, node["anyOf"]))))
    choices = node.get("enum", [node["const"]] if "const" in node else None)
    if choices is not None:
        return ", ".join(f'"{choice}"' if isinstance(choice, str) else str(choice) for choice in choices)
    return (_TYPES.get(node.get("type", ""), "") + _bounds(node) + _size(node)).strip()


def tags(node: Node) -> str:
    """List the values of `kind` that a table of several shapes may have."""
    return ", ".join(f'"{tag}"' for tag in _mapping(node))


def _bounds(node: Node) -> str:
    low, high = node.get("minimum"), node.get("maximum")
    above, below = node.get("exclusiveMinimum"), node.get("exclusiveMaximum")
    first = f" from {low}" if high is not None else f" of at least {low}"
    start = first if low is not None else f" above {above}" if above is not None else ""
    end = f" up to {high}" if high is not None else f" below {below}" if below is not None else ""
    return start + end


def _size(node: Node) -> str:
    if node.get("type") == "string":
        low, high, what = node.get("minLength"), node.get("maxLength"), "characters"
    else:
        low, high, what = node.get("minItems"), node.get("maxItems"), "entries"
    at_least = f" of at least {low}" if low is not None else " of"
    at_most = f" at most {high}" if high is not None else ""
    if low is None and high is None:
        return ""
    joint = "," if low is not None and high is not None else ""
    return f"{at_least}{joint}{at_most} {what}"


def _below(node: Node, step: str | int) -> Node:
    if isinstance(step, int):
        found = node.get("items", {})
    else:
        found = node.get("properties", {}).get(step, node.get("additionalProperties", {}))
    return found if isinstance(found, Mapping) else {}


def _resolved(schema: Node, node: Node, table: object) -> Node:
    """Follow references, drop 'or null', and pick the shape that the table's `kind` names."""
    while True:
        if "$ref" in node:
            node = schema["$defs"][node["$ref"].rsplit("/", 1)[-1]]
            continue
        shapes = [shape for shape in node.get("anyOf", ()) if shape.get("type") != "null"]
        tag = child_at(table, "kind")
        if len(shapes) == 1:
            node = shapes[0]
        elif isinstance(tag, str) and tag in _mapping(node):
            node = {"$ref": _mapping(node)[tag]}
        else:
            return node


def _mapping(node: Node) -> Mapping[str, str]:
    found: Mapping[str, str] = node.get("discriminator", {}).get("mapping", {})
    return found


def has_child(table: object, step: str | int) -> bool:
    """Tell whether anything stands one step down in raw tables and arrays."""
    if isinstance(table, Mapping):
        return step in table
    return isinstance(table, list | tuple) and isinstance(step, int) and 0 <= step < len(table)


def child_at(table: Any, step: str | int) -> Any:  # noqa: ANN401 -- raw tables hold anything
    """What stands one step down in raw tables and arrays; None when nothing does."""
    return table[step] if has_child(table, step) else None
