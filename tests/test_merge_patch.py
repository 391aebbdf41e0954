"""JSON Merge Patch, against RFC 7396."""

import copy

import pytest
from hypothesis import given
from hypothesis import strategies as st

from connectors.json_pointer import Json
from connectors.merge_patch import Arrays, Null, merge_patch

JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=3),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=2), inner, max_size=3),
    max_leaves=12,
)


@pytest.mark.parametrize(
    ("document", "patch", "result"),
    [
        ({"a": "b"}, {"a": "c"}, {"a": "c"}),
        ({"a": "b"}, {"b": "c"}, {"a": "b", "b": "c"}),
        ({"a": "b"}, {"a": None}, {}),
        ({"a": "b", "b": "c"}, {"a": None}, {"b": "c"}),
        ({"a": ["b"]}, {"a": "c"}, {"a": "c"}),
        ({"a": "c"}, {"a": ["b"]}, {"a": ["b"]}),
        ({"a": {"b": "c"}}, {"a": {"b": "d", "c": None}}, {"a": {"b": "d"}}),
        ({"a": [{"b": "c"}]}, {"a": [1]}, {"a": [1]}),
        (["a", "b"], ["c", "d"], ["c", "d"]),
        ({"a": "b"}, ["c"], ["c"]),
        ({"a": "foo"}, None, None),
        ({"a": "foo"}, "bar", "bar"),
        ({"e": None}, {"a": 1}, {"e": None, "a": 1}),
        ([1, 2], {"a": "b", "c": None}, {"a": "b"}),
        ({}, {"a": {"bb": {"ccc": None}}}, {"a": {"bb": {}}}),
    ],
)
def test_vectors_of_the_rfc(document: Json, patch: Json, result: Json) -> None:
    """RFC 7396 appendix A: every row of the table."""
    assert merge_patch(document, patch) == result


def test_example_of_the_rfc() -> None:
    """RFC 7396 section 3: the worked example."""
    document = {
        "title": "Goodbye!",
        "author": {"givenName": "John", "familyName": "Doe"},
        "tags": ["example", "sample"],
        "content": "This will be unchanged",
    }
    patch = {"title": "Hello!", "phoneNumber": "+01-123-456-7890", "author": {"familyName": None}, "tags": ["example"]}
    assert merge_patch(document, patch) == {
        "title": "Hello!",
        "author": {"givenName": "John"},
        "tags": ["example"],
        "content": "This will be unchanged",
        "phoneNumber": "+01-123-456-7890",
    }


def test_null_as_a_value() -> None:
    """Feeds for which null is a value keep the member, at every depth."""
    assert merge_patch({"a": {"b": 1}}, {"a": {"b": None}}, null="value") == {"a": {"b": None}}


def test_arrays_by_index() -> None:
    """Feeds that merge arrays by index: a shorter one leaves the rest, a longer one adds, objects inside merge."""
    document = {"feed": [{"run": 1, "name": "left"}, {"run": 2}]}
    merged = merge_patch(document, {"feed": [{"run": 5}]}, arrays="by_index")
    assert merged == {"feed": [{"run": 5, "name": "left"}, {"run": 2}]}
    assert merge_patch([1], [2, 3], arrays="by_index") == [2, 3]


def test_null_in_an_array_by_index_moves_nothing() -> None:
    """A null element is a value: removing it would make the next element another input's."""
    assert merge_patch([1, 2], [None], arrays="by_index") == [None, 2]


@given(JSON, JSON, st.sampled_from(["delete", "value"]), st.sampled_from(["replace", "by_index"]))
def test_nothing_given_is_altered(document: Json, patch: Json, null: Null, arrays: Arrays) -> None:
    """Neither the document nor the patch changes, and applying a patch again changes nothing more."""
    before = copy.deepcopy((document, patch))
    merged = merge_patch(document, patch, null, arrays)
    assert (document, patch) == before
    assert merge_patch(merged, patch, null, arrays) == merged
