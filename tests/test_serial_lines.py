"""The grammar of serial replies, against 52 composed lines and what may be taken from each (`data/reply_lines.jsonl`).

The forms follow a community wiki on G-code and makers' public pages; the lines themselves are composed for this test.
"""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from connectors.serial_lines import read_line
from connectors.serial_words import (
    Action,
    ActiveTool,
    Busy,
    Capability,
    Document,
    Failure,
    Flow,
    Heat,
    Note,
    Ok,
    Position,
    Reply,
    Resend,
    Restart,
    Storage,
    Temperatures,
    Unknown,
    Unreadable,
    Wait,
)

VECTORS = [
    json.loads(line)
    for line in (Path(__file__).parent / "data" / "reply_lines.jsonl").read_text(encoding="utf-8").splitlines()
]
SHORT: dict[type, tuple[str, ...]] = {
    Restart: ("restart",),
    Wait: ("wait",),
    Busy: ("busy", "why"),
    Failure: ("error", "text"),
    Resend: ("resend", "number"),
    Note: ("echo", "text"),
    Action: ("action", "name"),
    Storage: ("storage", "byte", "of"),
    Capability: ("cap", "name", "is_on"),
    ActiveTool: ("tool", "tool"),
    Flow: ("flow", "tool", "percent"),
    Unreadable: ("malformed",),
}
TAKEN = {"bed": "B", "chamber": "C", "active": "T"}


def test_all_52_lines_are_there() -> None:
    """The file is complete: a lost line would silently test less."""
    assert len(VECTORS) == 52


@pytest.mark.parametrize("vector", VECTORS, ids=lambda vector: vector["line"][:40])
def test_line_says_what_is_expected_and_nothing_more(vector: dict[str, Any]) -> None:
    """Each composed line yields exactly the reply written beside it."""
    assert _as_expected(read_line(vector["line"].encode("latin-1"))) == vector["expect"]


def test_repeated_heater_in_one_line_is_refused() -> None:
    """Two values for one heater mean that two lines ran into one."""
    assert isinstance(read_line(b"T:201.3 /200.0 T:20.1 /0.0"), Unknown)
    assert isinstance(read_line(b"X:1.0 Y:2.0 X:1.0 E:1"), Unknown)


def test_tail_of_a_report_is_no_other_report() -> None:
    """A line joined in the middle, as when the port was just opened, never yields a changed number."""
    whole = b"T:214.96 /215.00 B:59.98 /60.00 T0:214.96 /215.00 @:52 B@:31 @0:47"
    reply = read_line(whole)
    assert isinstance(reply, Temperatures)
    for cut in range(1, len(whole)):
        tail = read_line(whole[cut:])
        if isinstance(tail, Temperatures):
            assert tail.heats.items() <= reply.heats.items() | {("T", reply.heats["T0"])}
            assert tail.power.items() <= reply.power.items()


def test_duplicate_names_in_json_are_refused() -> None:
    """RFC 8259 section 4: the meaning of a repeated name is unpredictable, so nothing is taken."""
    assert isinstance(read_line(b'{"a":1,"a":2}'), Unreadable)


def test_deep_json_does_not_raise() -> None:
    """Nesting beyond the interpreter's own limit is unreadable, not a crash."""
    assert isinstance(read_line(b'{"a":' + b"[" * 60_000), Unreadable)


def test_number_beyond_the_range_of_floats_is_absent() -> None:
    """1e999 would become infinity; it is taken as not reported."""
    assert read_line(b'{"a":1e999}') == Document(is_answer=False, content={"a": None})


@given(st.binary(max_size=300))
def test_no_bytes_raise(data: bytes) -> None:
    """Whatever arrives, reading it gives a reply or nothing."""
    read_line(data)


@given(st.text("TBECWXYZ@:0123456789./ -okPN", max_size=60))
def test_no_text_of_the_grammars_own_letters_raises(text: str) -> None:
    """Text that nearly fits the grammar gives a reply or nothing."""
    read_line(text.encode())


def _as_expected(reply: Reply | None) -> dict[str, Any]:
    """`reply` in the form of the vectors."""
    if reply is None:
        return {"kind": "empty"}
    match reply:
        case Temperatures():
            return _temperatures(reply)
        case Position():
            return _position(reply)
        case Ok():
            slots = {"plan_free": reply.plan_free, "cmd_free": reply.command_free}
            with_slots = {name: value for name, value in slots.items() if value is not None}
            has_number = reply.number is not None or with_slots
            return {"kind": "ok", **({"n": reply.number} if has_number else {}), **with_slots}
        case Document():
            return {"kind": "json", "ok": reply.is_answer, "doc": reply.content}
        case _:
            return _short(reply)


def _short(reply: Reply) -> dict[str, Any]:
    kind, *names = SHORT.get(type(reply), ("unknown",))
    values = {"n" if name == "number" else name.removeprefix("is_"): getattr(reply, name) for name in names}
    if isinstance(reply, Failure):
        kind = "fatal" if reply.is_fatal else "error"
    if isinstance(reply, Unreadable) and reply.is_garbage:
        kind = "garbage"
    if isinstance(reply, Note):
        kind = "echo" if reply.is_echo else "comment"
    return {"kind": kind, **values}


def _pair(heat: Heat) -> list[float | None]:
    return [heat.now_c, heat.set_c]


def _temperatures(reply: Temperatures) -> dict[str, Any]:
    named = {name: _pair(reply.heats[word]) for name, word in TAKEN.items() if word in reply.heats}
    tools = {word[1:]: _pair(heat) for word, heat in reply.heats.items() if word[0] == "T" and len(word) > 1}
    other = {word: _pair(heat) for word, heat in reply.heats.items() if word[0] not in "TBC"}
    found: dict[str, Any] = {"kind": "temp", "ok": reply.is_answer, **named}
    found |= {"tools": tools} if tools else {}
    found |= {"other": other} if other else {}
    found |= {"power": dict(reply.power)} if reply.power else {}
    found |= {"active_tool": reply.waits_for} if reply.waits_for is not None else {}
    return found | ({"wait": reply.wait_s} if reply.wait_s is not None else {})


def _position(reply: Position) -> dict[str, Any]:
    found: dict[str, Any] = {
        "kind": "pos",
        "ok": reply.is_answer,
        "axes": dict(reply.axes_mm),
        "e": reply.feed_mm,
        "e_axes": {str(drive): value for drive, value in reply.drives_mm.items()},
    }
    if reply.count is not None:
        found["count"] = list(reply.count) if isinstance(reply.count, tuple) else dict(reply.count)
    return found
