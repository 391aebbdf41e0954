"""The `[link]` table of a serial port: what is refused, and in which words."""

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

import connectors
from connectors.serial_patterns import LONGEST_MATCHED_LINE, LinePattern
from connectors.serial_settings import Mix, SerialSettings

EXAMPLES = [Path(connectors.__file__).parent / "examples" / f"serial_{mode}.toml" for mode in ("listen", "ask")]
GIVEN: dict[str, Any] = {"port": "/dev/invented", "sensors": {"manifold": "T0"}}


def test_short_table_works() -> None:
    """Port and sensors are enough; what is left out is the harmless choice."""
    settings = SerialSettings.model_validate(GIVEN)
    assert settings.mode == "listen"
    assert not settings.open_is_safe
    assert not settings.position_query_is_safe


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"port": ""}, "at least 1 character"),
        ({"baud": 100}, "greater than or equal to 300"),
        ({"mode": "write"}, "'listen' or 'ask'"),
        ({"bauds": 1}, "Extra inputs are not permitted"),
        ({"sensors": {}}, "at least 1 item"),
        ({"sensors": {"manifold": "heater0"}}, "allowed: T, T0 to T99, B, C, P, A, R"),
        ({"sensors": {"a": "T0", "b": "T0"}}, "given to two sensors"),
        ({"sensors": {"manifold": "/a~2"}}, "is no JSON Pointer"),
        ({"json_places": {"tool": "tool"}}, "is no JSON Pointer"),
        ({"json_places": {"set_points": {"melt": "/a"}}}, "melt is none of the sensors"),
        ({"duty_full": 100}, "127 or 255"),
        ({"poll_interval_s": 0.1}, "greater than or equal to 1"),
        ({"lowest_c": 900.0, "highest_c": 100.0}, "must be below highest_c"),
        ({"tool_source": "fixed"}, "needs tool_at_start"),
        ({"input_of_tool": {0: 0}}, "greater than or equal to 1"),
        ({"input_of_tool": {0: 1}, "mixes": {0: {"weights": {1: 1}}}}, "both input_of_tool and mixes"),
        ({"feed": "per_drive", "mixes": {0: {"weights": {1: 1}}}}, "mixes then have no meaning"),
        ({"mixes": {0: {"weights": {1: 0}}}}, "at least one weight must be above 0"),
        ({"mixes": {0: {"weights": {1: float("nan")}}}}, "greater than or equal to 0|finite"),
        ({"wrap_mm": 6.0}, "more than twice retract_limit_mm"),
    ],
)
def test_wrong_value_is_refused_in_plain_words(changes: dict[str, Any], words: str) -> None:
    """Each mistake names what is allowed."""
    with pytest.raises(ValidationError, match=words):
        SerialSettings.model_validate(GIVEN | changes)


def test_mix_is_normalised_unless_told_not_to() -> None:
    """Weights are proportions of their sum, or factors as they are."""
    assert Mix(weights={1: 1.0, 2: 3.0}).shares() == {1: 0.25, 2: 0.75}
    assert Mix(weights={1: 1.0, 2: 1.0}, normalise=False).shares() == {1: 1.0, 2: 1.0}


def _pattern(**changes: Any) -> LinePattern:  # noqa: ANN401 -- any key of a pattern
    keys: dict[str, Any] = {
        "name": "stall",
        "regex": r"stall E(?P<input>\d+) (?P<word>\w+)",
        "channels": {"stall": {"constant": 1}},
    }
    return LinePattern.model_validate(keys | changes)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"regex": "("}, "is no regular expression"),
        ({"regex": r"(?P<input>\d+)(a+)+b"}, "repeats a group"),
        ({"regex": r"(?P<input>\d+)(a|aa){2,}b"}, "repeats a group"),
        ({"regex": r"(?P<input>\d+) .* .* .* [^x]*"}, "more than 3 open repeats"),
        ({"regex": r"(?P<input>\d)\1"}, "refers back"),
        ({"regex": "x" * 301}, "at most 300 characters"),
        ({"regex": "stall"}, "needs a group named 'input'"),
        ({"channels": {"stall": {"group": "wrod"}}}, "no group named 'wrod'"),
        ({"channels": {"stall": {"group": "word", "constant": 1}}}, "not both"),
        ({"channels": {"stall": {}}}, "not neither"),
        ({"channels": {"temp_c": {"constant": 1}}}, "need the key 'sensor'"),
        ({"channels": {"speed": {"constant": 1}}}, "Input should be"),
        ({"channels": {}}, "at least 1 item"),
    ],
)
def test_wrong_pattern_is_refused_on_load(changes: dict[str, Any], words: str) -> None:
    """A pattern that cannot work, or could take for ever, is refused when the profile is read."""
    with pytest.raises(ValidationError, match=re.escape(words)):
        _pattern(**changes)


def test_escaped_and_classed_brackets_are_no_groups() -> None:
    r"""`\)+` and `[)]+` repeat a character, not a group."""
    assert _pattern(regex=r"stall\)+ [)*]+ E(?P<input>\d)").read("stall)) )* E3") == {("stall", 4): 1.0}


def test_pattern_must_fit_the_whole_line() -> None:
    """A line that goes on after the pattern is another line; an overlong one is not tried."""
    pattern = _pattern(regex=r"stall E(?P<input>\d+) x*")
    assert pattern.read("stall E0 xx") == {("stall", 1): 1.0}
    assert pattern.read("stall E0 xx more") is None
    assert pattern.read("stall E0 " + "x" * LONGEST_MATCHED_LINE) is None


def test_unreadable_value_is_left_out() -> None:
    """A number that is none, or an unknown word, gives no value."""
    number = _pattern(regex=r"E(?P<input>\d+) (?P<mm>\S+)", channels={"sensed_mm": {"group": "mm", "scale": 10}})
    assert number.read("E0 1.5") == {("sensed_mm", 1): 15.0}
    assert number.read("E0 1.2.3") == {}
    assert number.read("E0 inf") == {}
    words = _pattern(channels={"stall": {"group": "word", "words": {"yes": 1}}})
    assert words.read("stall E0 maybe") == {}
    assert _pattern(first_input=5).read("stall E0 x") == {}


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_examples_load(path: Path) -> None:
    """The example tables are valid, and the two together show every key."""
    SerialSettings.model_validate(tomllib.loads(path.read_text(encoding="utf-8"))["link"])
    text = "".join(each.read_text(encoding="utf-8") for each in EXAMPLES)
    assert [
        name for name in SerialSettings.model_fields if not re.search(rf"^(# )?(\[+link\.)?{name}\b", text, re.M)
    ] == []
