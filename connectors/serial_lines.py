"""One line from a serial controller -> one typed reply. Pure grammar: a whole line fits a form, or nothing is taken.

There is no agreed dialect. The forms are tried in a fixed order, so that text (comments, echoes, errors) is never
searched for numbers, and `ok N12 P6 B2` is never taken for a temperature.
"""

import json
import math
import re
from collections.abc import Callable
from difflib import SequenceMatcher
from typing import Any, Final

from connectors.clean_text import clean_text
from connectors.serial_readings import read_position, read_temperatures
from connectors.serial_words import (
    Action,
    ActiveTool,
    Busy,
    Capability,
    Document,
    Failure,
    Flow,
    Note,
    Ok,
    Reply,
    Resend,
    Restart,
    Storage,
    Unknown,
    Unreadable,
    Wait,
)

GARBAGE_SHARE: Final = 1 / 20
"""With more broken bytes than this share, a line is garbage: noise or the wrong speed, not a reply with an error."""

LONGEST_TEXT: Final = 4096
"""A line longer than this [byte] that is not JSON fits no form."""

NOISE_SHARE: Final = 1 / 4
FEWEST_NOISE: Final = 3
"""From this share and number of broken bytes on, nothing can be said of what a line was, nor of how many it was."""

_TOOL_FORMS: Final = ("echo:Active Extruder: ", "Active Extruder: ", "Tool: T")
_TELLS_TOOL: Final = re.compile(r"Active Extruder|Tool: *T", re.ASCII)
_ALIKE: Final = 0.65
"""Likeness from which a line may have been a tool's: a third of its bytes lost or changed (judgement, no source)."""

_BROKEN: Final = re.compile(r"[^\t\x20-\x7e]")
_OK: Final = re.compile(r"ok(?: N?:?(\d{1,12}))?(?: P(\d{1,6}))?(?: B(\d{1,6}))?", re.ASCII)
_FORMS: Final[tuple[tuple[re.Pattern[str], Callable[[re.Match[str]], Reply]], ...]] = tuple(
    (re.compile(form, re.ASCII), make)
    for form, make in (
        (r"start", lambda _: Restart()),
        (r"wait", lambda _: Wait()),
        (r"!!(.*)", lambda m: Failure(clean_text(m[1].strip()), is_fatal=True)),
        (r"// *action:(.+)", lambda m: Action(clean_text(m[1].strip()))),
        (r"//(.*)", lambda m: Note(clean_text(m[1].strip()), is_echo=False)),
        (r"(?:echo: *)?busy:(.*)", lambda m: Busy(clean_text(m[1].strip()))),
        (r"[Ee]rror:(.*)", lambda m: Failure(clean_text(m[1].strip()), is_fatal=False)),
        (r"(?:Resend|rs) *:? *N?(\d{1,12})", lambda m: Resend(int(m[1]))),
        (r"SD printing byte (\d{1,15})/(\d{1,15})", lambda m: Storage(int(m[1]), int(m[2]))),
        (r"Not SD printing", lambda _: Storage()),
        (r"Cap: ?(\w{1,40}): ?([01])", lambda m: Capability(m[1], m[2] == "1")),
        (r"(?:echo: *)?Active Extruder: *(-?\d{1,3})", lambda m: ActiveTool(int(m[1]))),
        (r"Tool: *T(-?\d{1,3})", lambda m: ActiveTool(int(m[1]))),
        (r"(?:echo: *)?E(\d{1,3}) Flow: *(\d{1,4}(?:\.\d{1,4})?)%", lambda m: Flow(int(m[1]), float(m[2]))),
        (r"echo:(.*)", lambda m: Note(clean_text(m[1].strip()), is_echo=True)),
    )
)


def read_line(raw: bytes) -> Reply | None:
    """What a whole line says; None for an empty one. Never raises.

    >>> read_line(b"ok N8812 P6 B2")
    Ok(number=8812, plan_free=6, command_free=2)
    """
    text = raw.strip(b"\0 \t\r\n").decode("latin-1")
    if not text:
        return None
    broken = len(_BROKEN.findall(text))
    if broken:
        is_garbage = broken > len(text) * GARBAGE_SHARE
        return Unreadable(f"{broken} of {len(text)} bytes are no printable ASCII", is_garbage)
    answer = text[3:].lstrip() if text.startswith("ok ") else text
    if answer.startswith("{"):
        return _read_json(answer, is_answer=answer is not text)
    if len(text) > LONGEST_TEXT:
        return Unknown(clean_text(text))
    return _read_text(text.replace("\t", " "))


def may_have_told_tool(raw: bytes) -> bool:
    r"""Whether a line that could not be understood may have told the active tool before it was damaged.

    >>> may_have_told_tool(b"Active Ext\xfftder: 1"), may_have_told_tool(b"ok T:2\xff1.3 /200.0")
    (True, False)
    """
    text = raw.strip(b"\0 \t\r\n").decode("latin-1")
    broken = len(_BROKEN.findall(text))
    if broken >= max(FEWEST_NOISE, len(text) * NOISE_SHARE) or _TELLS_TOOL.search(text):
        return True
    return any(SequenceMatcher(None, form, text[: len(form)]).ratio() >= _ALIKE for form in _TOOL_FORMS)


def _read_text(text: str) -> Reply:
    for form, make in _FORMS:
        if found := form.fullmatch(text):
            return make(found)
    if found := _OK.fullmatch(text):
        return Ok(*(None if group is None else int(group) for group in found.groups()))
    is_answer = text.startswith("ok ")
    rest = text[3:] if is_answer else text
    return (
        read_position(rest, is_answer=is_answer)
        or read_temperatures(rest, is_answer=is_answer)
        or Unknown(clean_text(text))
    )


def _read_json(text: str, *, is_answer: bool) -> Reply:
    try:
        content = json.loads(
            text, parse_constant=lambda _: None, parse_float=_finite, object_pairs_hook=_without_duplicates
        )
    except (ValueError, RecursionError) as error:
        return Unreadable(clean_text(f"JSON cannot be read: {error}"), is_garbage=False)
    return Document(is_answer, content)


def _finite(text: str) -> float | None:
    value = float(text)
    return value if math.isfinite(value) else None


def _without_duplicates(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    content = dict(pairs)
    if len(content) < len(pairs):
        raise ValueError("a name occurs twice in one object")
    return content
