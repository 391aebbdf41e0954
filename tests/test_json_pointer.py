"""JSON Pointer, against RFC 6901."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from connectors.json_pointer import Json, NotThereError, find, parse_pointer, pointer_text

DOCUMENT = {
    "foo": ["bar", "baz"],
    "": 0,
    "a/b": 1,
    "c%d": 2,
    "e^f": 3,
    "g|h": 4,
    "i\\j": 5,
    'k"l': 6,
    " ": 7,
    "m~n": 8,
}
"""The document of RFC 6901 section 5."""


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("", DOCUMENT),
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_vectors_of_the_rfc(text: str, value: object) -> None:
    """RFC 6901 section 5: every pointer gives the value that is printed there."""
    assert find(DOCUMENT, parse_pointer(text)) == value


def test_tilde_before_one() -> None:
    """RFC 6901 section 4: `~01` is `~1`, never `/`."""
    assert parse_pointer("/~01") == ("~1",)


@pytest.mark.parametrize("text", ["foo", " ", "/~", "/~2", "/a~", "#/foo", "/a/~x"])
def test_text_that_is_no_pointer(text: str) -> None:
    """RFC 6901 section 3: no leading slash, or a `~` that escapes nothing, is an error."""
    with pytest.raises(ValueError, match="no JSON Pointer"):
        parse_pointer(text)


@pytest.mark.parametrize("token", ["00", "01", "-1", "+1", "1.0", " 1", "1 ", "x", "", "-", "2", "٣", "99999999999"])
def test_elements_that_are_not_there(token: str) -> None:
    """RFC 6901 section 4: no leading zeros, no sign, ASCII digits; `-` and what is past the end do not exist."""
    with pytest.raises(NotThereError, match=r"/foo/.* is missing"):
        find(DOCUMENT, ("foo", token))


def test_missing_differs_from_null() -> None:
    """A member that is null is there; below it there is nothing, and the reason says so."""
    assert find({"a": None}, ("a",)) is None
    with pytest.raises(NotThereError, match=r"^/b is missing: no such member$"):
        find({"a": None}, ("b",))
    with pytest.raises(NotThereError, match=r"^/a/b is missing: null has no members$"):
        find({"a": None}, ("a", "b"))


@pytest.mark.parametrize("value", [0, 1.5, True, "text"])
def test_plain_values_have_no_members(value: Json) -> None:
    """A text is not an array of characters, nor a number an object."""
    with pytest.raises(NotThereError, match="plain value"):
        find(value, ("0",))


@given(st.lists(st.text()))
def test_tokens_survive_writing_and_reading(tokens: list[str]) -> None:
    """Any tokens come back from the pointer that is written for them."""
    assert list(parse_pointer(pointer_text(tokens))) == tokens
