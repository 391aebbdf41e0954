"""The `[link]` table of a websocket: what is allowed, what is refused; the texts, the token, the check of a profile."""

import json
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from connectors.errors import SettingsError
from connectors.websocket_access import read_access
from connectors.websocket_check import explain_sends
from connectors.websocket_settings import WebsocketSettings
from tests.websocket_examples import CHANNELS, FULL_RULE, PART_RULE, example, settings

TOKEN = "s3cret-of-this-test"  # noqa: S105 -- invented


def test_examples_are_sound() -> None:
    """Both example tables load and map temperatures and feed."""
    for name in ("rpc", "pairs"):
        found = example(name)
        assert "manifold" in found.sensors
        assert found.inputs == {1, 2}


@pytest.mark.parametrize(
    "url",
    [
        "http://machine.example/live",
        "machine.example:7700",
        "ws://",
        "ws:///live",
        "ws://machine.example:99999/",
        "ws://me:pw@machine.example/",
        "ws://machine.example/#part",
        "ws://machine.example/a b",
        "ws://machine.example/\x1b[2J",
        "ws://machine.example/run?line=G28",
        "ws://machine.example/run?line=%47%32%38",
    ],
)
def test_addresses_that_are_refused(url: str) -> None:
    """No other scheme, no secrets, no control characters, and no command of the trade in the query."""
    with pytest.raises(ValidationError):
        settings(url=url)


@pytest.mark.parametrize(
    "text",
    [
        "G28",
        "say M104 S0",
        "T0",
        "g28",
        '{"script": "m112"}',
        '{"script": "\\u004728"}',
        '{"params": [{"x": "home\\nG28"}]}',
        '{"G1": 0}',
        "status\nG28",
        "two\nlines",
        "two\rlines",
        '{"x": "two\\nlines"}',
        "bell\x07",
        "line\u2028end",
        "",
    ],
)
@pytest.mark.parametrize("place", ["on_connect", "keepalive"])
def test_texts_that_are_refused(text: str, place: str) -> None:
    """What looks like a command of the trade, also behind JSON's escapes, or is more than one line, is never sent."""
    change: dict[str, Any] = (
        {"on_connect": [text]} if place == "on_connect" else {"keepalive": {"every_s": 5, "text": text}}
    )
    with pytest.raises(ValidationError):
        settings(**change)


@pytest.mark.parametrize("text", ['{"method": "watch.begin", "id": 1}', "SUB heat,ext RATE 250", "état"])
def test_texts_that_are_accepted(text: str) -> None:
    """Questions for data pass."""
    assert settings(on_connect=[text]).texts == (text,)


@pytest.mark.parametrize(
    ("channel", "source"),
    [
        ("temp_c:manifold", {}),
        ("temp_c:manifold", {"pointer": "heat"}),
        ("temp_c:manifold", {"pointer": "/a", "find": {"among": "/b", "where": "/id", "equals": "c"}}),
        ("temp_c:manifold", {"pointer": "/a", "unit": "mm"}),
        ("temp_c:manifold", {"pointer": "/a", "wrap": 10.0}),
        ("temp_c:manifold", {"pointer": "/a", "scale": 0}),
        ("temp_c:manifold", {"pointer": "/a", "min": 5, "max": 5}),
        ("temp_c:manifold", {"pointer": "/a", "scael": 2}),
        ("temp_c:manifold", {"pointer": "/a", "words": {"on": "ACTIVE"}}),
        ("temp_c:manifold", {"pointer": "/a", "scale": "2"}),
        ("temp_c", {"pointer": "/a"}),
        ("temp_f:manifold", {"pointer": "/a"}),
        ("fed_mm:0", {"pointer": "/a"}),
        ("fed_mm:65", {"pointer": "/a"}),
        ("fed_mm:left", {"pointer": "/a"}),
        ("progress:1", {"pointer": "/a"}),
        ("progress", {"pointer": "/a", "unit": "byte"}),
        ("stall:1", {"pointer": "/a", "unit": "ratio"}),
        ("execution", {"pointer": "/a"}),
        ("execution", {"pointer": "/a", "words": {"on": "RUNNING"}}),
        ("execution", {"pointer": "/a", "words": {"on": "ACTIVE"}, "scale": 2.0}),
    ],
)
def test_channels_that_are_refused(channel: str, source: dict[str, Any]) -> None:
    """A name that is no channel, a key it cannot have, a typo: refused, so that no channel falls silent unseen."""
    with pytest.raises(ValidationError):
        settings(channels=CHANNELS | {channel: source})


@pytest.mark.parametrize(
    "change",
    [
        {"messages": []},
        {"messages": [{"means": "ignore"}]},
        {"messages": [{"means": "all"}]},
        {"messages": [FULL_RULE | {"change": "pairs"}]},
        {"messages": [PART_RULE | {"change": "pairs", "null": "value"}]},
        {"messages": [{"means": "full", "equals": 3}]},
        {"messages": [FULL_RULE | {"text": "x"}]},
        {"messages": [FULL_RULE, {"means": "ignore", "sequence": "/n"}]},
        {"channels": {}},
        {"ca_file": "ca.pem"},
        {"token_file": "/a", "token_env": "B"},
        {"on_connect": ["{token}"]},
        {"auth_header": "Bad Header"},
        {"subprotocol": "a b"},
        {"resync_every_s": 10.0, "full_within_s": 10.0},
        {"stale_after_s": 0.0},
        {"ping_interval_s": float("nan")},
        {"max_message_bytes": 10},
        {"ulr": "ws://x"},
    ],
)
def test_tables_that_are_refused(change: dict[str, Any]) -> None:
    """Keys without a meaning, missing parts, values out of range."""
    with pytest.raises(ValidationError):
        settings(**change)


def test_every_key_is_explained() -> None:
    """Each key of the table carries a description."""
    assert all(field.description for field in WebsocketSettings.model_fields.values())


def test_shown_address_holds_no_query() -> None:
    """A query may hold secrets, so messages show the address without it."""
    assert settings(url="wss://box.example:1/live?key=abc").shown_url == "wss://box.example:1/live"


class TestAccess:
    """The token and the certificates."""

    def test_token_file(self, tmp_path: Path) -> None:
        """The token goes into the header, and into no representation."""
        path = tmp_path / "token"
        path.write_text(TOKEN + "\n")
        path.chmod(0o600)
        access = read_access(settings(token_file=str(path)))
        assert access.headers == {"Authorization": f"Bearer {TOKEN}"}
        assert TOKEN not in repr(access)

    def test_token_in_a_text(self) -> None:
        """With its place holder in a text the token goes there, and not into a header."""
        found = settings(token_env="T", on_connect=['{"auth": "{token}"}'])  # noqa: S106 -- the name of a variable
        access = read_access(found, {"T": TOKEN})
        assert access.headers == {}
        assert access.filled(found.on_connect[0]) == json.dumps({"auth": TOKEN})
        assert TOKEN not in "".join(explain_sends(found))

    @pytest.mark.parametrize("mode", [0o640, 0o604, 0o620, 0o660, 0o644])
    def test_token_that_others_may_read(self, tmp_path: Path, mode: int) -> None:
        """A token file open to others is refused, with the command that closes it."""
        path = tmp_path / "token"
        path.write_text(TOKEN)
        path.chmod(mode)
        with pytest.raises(SettingsError, match="chmod 600") as refused:
            read_access(settings(token_file=str(path)))
        assert TOKEN not in str(refused.value)

    @pytest.mark.parametrize(
        "text", ["", "  \n", "two words", "two\nlines", 'quo"te', "back\\slash", "ümlaut", "x" * 5000]
    )
    def test_text_that_is_no_token(self, tmp_path: Path, text: str) -> None:
        """What could break a header or a JSON text is no token; the message does not show it."""
        path = tmp_path / "token"
        path.write_text(text)
        path.chmod(0o600)
        with pytest.raises(SettingsError, match="access token in file") as refused:
            read_access(settings(token_file=str(path)))
        assert not text.strip() or text.strip() not in str(refused.value)

    def test_token_that_is_not_there(self, tmp_path: Path) -> None:
        """A missing file, a folder, a missing variable are told."""
        for place in (tmp_path / "none", tmp_path):
            with pytest.raises(SettingsError, match="token_file"):
                read_access(settings(token_file=str(place)))
        with pytest.raises(SettingsError, match="no environment variable NONE"):
            read_access(settings(token_env="NONE"), {})  # noqa: S106 -- the name of a variable

    def test_certificates_that_cannot_be_used(self, tmp_path: Path) -> None:
        """A missing file, or one without certificates, is told with its key."""
        path = tmp_path / "ca.pem"
        with pytest.raises(SettingsError, match=r"ca_file: .* cannot be read"):
            read_access(settings(url="wss://x.example/", ca_file=str(path)))
        path.write_text("none")
        with pytest.raises(SettingsError, match="PEM"):
            read_access(settings(url="wss://x.example/", ca_file=str(path)))


class TestCheck:
    """What a check of a profile shows."""

    def test_all_texts_are_explained(self) -> None:
        """Each text that can be sent is shown; a profile without says that there are none."""
        shown = "\n".join(explain_sends(example("pairs")))
        assert all(text in shown for text in example("pairs").texts)
        assert explain_sends(settings()) == ["nothing but the opening of the connection and its pings"]
