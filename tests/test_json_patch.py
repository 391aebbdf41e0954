"""JSON Patch against RFC 6902, and lists of pairs."""

import copy

import pytest

from connectors.json_patch import PatchError, apply_pairs, apply_patch, same_json
from connectors.json_pointer import Json


@pytest.mark.parametrize(
    ("document", "patch", "result"),
    [
        ({"foo": "bar"}, [{"op": "add", "path": "/baz", "value": "qux"}], {"baz": "qux", "foo": "bar"}),
        (
            {"foo": ["bar", "baz"]},
            [{"op": "add", "path": "/foo/1", "value": "qux"}],
            {"foo": ["bar", "qux", "baz"]},
        ),
        ({"baz": "qux", "foo": "bar"}, [{"op": "remove", "path": "/baz"}], {"foo": "bar"}),
        ({"foo": ["bar", "qux", "baz"]}, [{"op": "remove", "path": "/foo/1"}], {"foo": ["bar", "baz"]}),
        (
            {"baz": "qux", "foo": "bar"},
            [{"op": "replace", "path": "/baz", "value": "boo"}],
            {"baz": "boo", "foo": "bar"},
        ),
        (
            {"foo": {"bar": "baz", "waldo": "fred"}, "qux": {"corge": "grault"}},
            [{"op": "move", "from": "/foo/waldo", "path": "/qux/thud"}],
            {"foo": {"bar": "baz"}, "qux": {"corge": "grault", "thud": "fred"}},
        ),
        (
            {"foo": ["all", "grass", "cows", "eat"]},
            [{"op": "move", "from": "/foo/1", "path": "/foo/3"}],
            {"foo": ["all", "cows", "eat", "grass"]},
        ),
        (
            {"baz": "qux", "foo": ["a", 2, "c"]},
            [
                {"op": "test", "path": "/baz", "value": "qux"},
                {"op": "test", "path": "/foo/1", "value": 2},
            ],
            {"baz": "qux", "foo": ["a", 2, "c"]},
        ),
        (
            {"foo": "bar"},
            [{"op": "add", "path": "/child", "value": {"grandchild": {}}}],
            {"foo": "bar", "child": {"grandchild": {}}},
        ),
        ({"foo": "bar"}, [{"op": "add", "path": "/baz", "value": "qux", "xyz": 123}], {"foo": "bar", "baz": "qux"}),
        ({"/": 9, "~1": 10}, [{"op": "test", "path": "/~01", "value": 10}], {"/": 9, "~1": 10}),
        (
            {"foo": ["bar"]},
            [{"op": "add", "path": "/foo/-", "value": ["abc", "def"]}],
            {"foo": ["bar", ["abc", "def"]]},
        ),
    ],
    ids=["A.1", "A.2", "A.3", "A.4", "A.5", "A.6", "A.7", "A.8", "A.10", "A.11", "A.14", "A.16"],
)
def test_vectors_of_the_rfc(document: Json, patch: Json, result: Json) -> None:
    """RFC 6902 appendix A: the examples that succeed."""
    assert apply_patch(document, patch) == result


@pytest.mark.parametrize(
    ("document", "patch"),
    [
        ({"baz": "qux"}, [{"op": "test", "path": "/baz", "value": "bar"}]),
        ({"foo": "bar"}, [{"op": "add", "path": "/baz/bat", "value": "qux"}]),
        ({"/": 9, "~1": 10}, [{"op": "test", "path": "/~01", "value": "10"}]),
    ],
    ids=["A.9", "A.12", "A.15"],
)
def test_failures_of_the_rfc(document: Json, patch: Json) -> None:
    """RFC 6902 appendix A: the examples that must fail; A.13, one member twice, is refused by the reader."""
    with pytest.raises(PatchError):
        apply_patch(document, patch)


@pytest.mark.parametrize(
    "operation",
    [
        {"op": "grow", "path": "/a"},
        {"path": "/a"},
        {"op": ["add"], "path": "/a"},
        {"op": "add", "path": "/b"},
        {"op": "add", "value": 1},
        {"op": "add", "path": "b", "value": 1},
        {"op": "add", "path": "/list/4", "value": 1},
        {"op": "add", "path": "/list/01", "value": 1},
        {"op": "replace", "path": "/b", "value": 1},
        {"op": "replace", "path": "/list/-", "value": 1},
        {"op": "remove", "path": "/list/3"},
        {"op": "remove", "path": ""},
        {"op": "move", "from": "/a", "path": "/a/b"},
        {"op": "move", "from": "/nested/0", "path": "/nested/0/x"},
        {"op": "copy", "from": "/b", "path": "/c"},
        "add",
        None,
        3,
    ],
)
def test_all_or_nothing(operation: Json) -> None:
    """RFC 6902 section 5: when one operation fails the document stays as it was, though others came before it."""
    document = {"a": {"x": 1}, "list": [1, 2], "nested": [{}, {}]}
    before = copy.deepcopy(document)
    with pytest.raises(PatchError, match="operation 2"):
        apply_patch(document, [{"op": "add", "path": "/list/-", "value": 3}, operation])
    assert document == before


@pytest.mark.parametrize("changes", [None, {}, "ops", 4])
def test_changes_that_are_no_array(changes: Json) -> None:
    """Neither kind of change is anything but an array."""
    for apply in (apply_patch, apply_pairs):
        with pytest.raises(PatchError, match="not an array"):
            apply({}, changes)


def test_whole_document() -> None:
    """RFC 6902 section 4: the empty path is the whole document."""
    assert apply_patch({"a": 1}, [{"op": "replace", "path": "", "value": [2]}]) == [2]
    assert apply_patch([1], [{"op": "add", "path": "", "value": {}}]) == {}


def test_copies_do_not_change_together() -> None:
    """A value that was copied is changed in one place only."""
    copied = apply_patch({"a": {"n": 1}}, [{"op": "copy", "from": "/a", "path": "/b"}])
    assert apply_patch(copied, [{"op": "replace", "path": "/a/n", "value": 2}]) == {"a": {"n": 2}, "b": {"n": 1}}


def test_sameness() -> None:
    """RFC 6902 section 4.6: numbers are the same by value; true is not 1, order of members does not matter."""
    assert same_json({"a": 1, "b": [2.0]}, {"b": [2], "a": 1.0})
    assert not same_json([True], [1])
    assert not same_json({"a": 1}, {"a": 1, "b": 2})
    assert not same_json(None, 0)


def test_pairs() -> None:
    """A name is a member of the document, known or new; a pointer reaches deeper."""
    document = {"bed": "140.0", "ext": [10, 20]}
    pairs = [["bed", "141.0"], ["fan", 1], ["/ext/1", 25]]
    assert apply_pairs(document, pairs) == {"bed": "141.0", "ext": [10, 25], "fan": 1}
    assert document == {"bed": "140.0", "ext": [10, 20]}


@pytest.mark.parametrize("pair", [["a"], ["a", 1, 2], [1, 2], "ab", None, ["/none/0", 1], ["/ext/2", 1], ["/~", 1]])
def test_pairs_that_do_not_fit(pair: Json) -> None:
    """A pair that is none, or that reaches where nothing is, refuses the whole list."""
    with pytest.raises(PatchError, match="pair 2"):
        apply_pairs({"ext": [1, 2]}, [["ok", 1], pair])
