"""The token never shows, whole or in part."""

import pytest

from connectors.websocket_access import Access

TOKEN = "abcdefgh-invented-token-12345678"  # noqa: S105 -- invented


@pytest.mark.parametrize("shown", [f"you sent {TOKEN} just now", f"you sent {TOKEN[:20]}…", f"you sent {TOKEN[:5]}"])
def test_a_token_is_hidden_whole_and_where_it_was_cut(shown: str) -> None:
    """A server that repeats the token does not get it into recordings, even when the excerpt ends within it."""
    told = Access({}, None, TOKEN).without_token(shown)

    assert TOKEN[:4] not in told
    assert told.startswith("you sent ")


def test_other_text_is_left_alone() -> None:
    """Without a token, or without it in the text, nothing changes."""
    assert Access({}, None, TOKEN).without_token("a plain line…") == "a plain line…"
    assert Access({}, None, None).without_token(TOKEN) == TOKEN
