"""What an attached screen is told is what the watch knows, field by field; what is no message of ours is refused."""

import dataclasses
import types
from collections.abc import Callable, Mapping
from enum import Enum
from functools import cache
from typing import Any, Union, get_args, get_origin, get_type_hints

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import SCENARIOS
from monitor.attach import wire as attach_wire
from monitor.attach.wire import (
    LONGEST_FROM_SCREEN,
    LONGEST_FROM_WATCH,
    Ask,
    Bye,
    Frames,
    FromWatch,
    Hello,
    News,
    Past,
    Refused,
    WireError,
    framed,
    from_screen,
    from_watch,
    hello,
    is_understood,
    mismatch_text,
)
from monitor.config import demo_profile
from monitor.core.alert_types import RequestKind
from monitor.core.assessment import Assessment
from monitor.core.engine import run
from monitor.history.memory import PIECE_BUCKETS, SIZES, History
from tests import screen_samples
from tests.attach_examples import same

INT64 = st.integers(-(2**63), 2**63 - 1)
PLAIN: dict[Any, st.SearchStrategy[Any]] = {
    float: st.floats(),
    int: INT64,
    str: st.text(max_size=20),
    bool: st.booleans(),
    type(None): st.none(),
}
ARRAYS = st.lists(st.floats(), max_size=6).map(np.array).map(lambda row: row.astype(np.float64))


@cache
def values_of(kind: Any) -> st.SearchStrategy[Any]:  # noqa: ANN401 -- any type in an assessment
    """Values of a type, made of its own hints, so that a field that is added later is tried as well."""
    origin, parts = get_origin(kind), get_args(kind)
    is_array = np.ndarray in {origin, get_origin(getattr(origin, "__value__", None))}  # an alias in newer libraries
    if kind in PLAIN or is_array:
        return PLAIN.get(kind, ARRAYS)
    if origin in {types.UnionType, Union}:
        return st.one_of([values_of(part) for part in parts])
    if origin is tuple:
        assert parts[1:] == (...,), f"{kind} is new here"
        return st.lists(values_of(parts[0]), max_size=2).map(tuple)
    if origin is Mapping or origin is get_origin(Mapping[str, int]):
        return st.dictionaries(values_of(parts[0]), values_of(parts[1]), max_size=3)
    if issubclass(kind, Enum):
        return st.sampled_from(kind)
    assert dataclasses.is_dataclass(kind) or issubclass(kind, tuple), f"{kind} is new here"
    hints = get_type_hints(kind)
    names = [field.name for field in dataclasses.fields(kind)] if dataclasses.is_dataclass(kind) else list(kind._fields)
    return st.builds(kind, **{name: values_of(hints[name]) for name in names})


def there_and_back(assessment: Assessment) -> Assessment:
    """Send it through the wire."""
    heard = from_watch(framed(News(assessment, "", None))[4:])
    assert isinstance(heard, News)
    assert heard.latest is not None
    return heard.latest


@given(values_of(Assessment))
@settings(max_examples=60, deadline=None)
def test_every_field_survives(assessment: Assessment) -> None:
    """Whatever stands in an assessment, NaN and infinity too, arrives bit by bit in its type; arrays read-only."""
    same(assessment, there_and_back(assessment))


@pytest.mark.parametrize("sample", [
    screen_samples.healthy, screen_samples.troubled, screen_samples.stale, screen_samples.heating_up,
    screen_samples.unsure,
])  # fmt: skip
def test_what_screens_are_tested_with_survives(sample: Callable[[], Assessment]) -> None:
    """The assessments that the screen's own tests draw arrive unchanged."""
    same(sample(), there_and_back(sample()))


@pytest.mark.parametrize("scenario", ["left-idle", "grinding", "link-drop-outs"])
def test_what_the_engine_concludes_survives(scenario: str) -> None:
    """Assessments of a simulated night, every ten minutes or so, arrive unchanged."""
    steps = run(simulate(SCENARIOS[scenario], 1, 8.0, 6 * 3600.0), demo_profile().parameters)
    told = [step.assessment for number, step in enumerate(steps) if number % 75 == 0]
    assert any(assessment.alerts for assessment in told)
    for assessment in told:
        same(assessment, there_and_back(assessment))


def test_messages_are_cut_out_of_a_stream_wherever_it_is_broken() -> None:
    """Fed byte by byte or whole, the same messages come out."""
    said: list[FromWatch] = [hello(7, machine="bench", source="port"), Bye("ended"), Refused("no")]
    stream = b"".join(framed(message) for message in said)
    whole, single = Frames(1_000), Frames(1_000)
    assert [from_watch(body) for body in whole.feed(stream)] == said
    pieces = [body for at in range(len(stream)) for body in single.feed(stream[at : at + 1])]
    assert [from_watch(body) for body in pieces] == said
    assert not single.is_amid


def test_a_message_that_is_too_long_is_refused_before_it_is_kept() -> None:
    """Four bytes are enough to see that it is too long."""
    frames = Frames(LONGEST_FROM_SCREEN)
    with pytest.raises(WireError, match=f"allowed: up to {LONGEST_FROM_SCREEN}"):
        list(frames.feed((LONGEST_FROM_SCREEN + 1).to_bytes(4, "big")))
    assert not frames.is_amid


@given(st.binary(max_size=200))
@settings(max_examples=300, deadline=None)
def test_garbage_is_a_wire_error_and_nothing_else(garbage: bytes) -> None:
    """Any bytes are a message, or are told not to be one."""
    for read in (from_watch, from_screen):
        try:
            message = read(garbage)
        except WireError:
            continue
        assert isinstance(message, Hello | Bye | Refused | News | Ask)


@pytest.mark.parametrize("nested", [b"\x91" * 100_000, b"\x81\xa3say" * 20_000])
def test_deep_nesting_is_a_wire_error(nested: bytes) -> None:
    """A message that is nested without end is refused, not followed."""
    with pytest.raises(WireError):
        from_watch(nested)


@pytest.mark.parametrize("wrong", [
    {"kind": "advance"}, {"alert_id": ""}, {"alert_id": "x" * 201}, {"reason": "x" * 501}, {"for_s": -1.0},
    {"for_s": float("inf")}, {"for_s": 28_801.0}, {"kind": None}, {"alert_id": 5}, {"say": "news"}, {"say": "order"},
    {"for_s": float("nan")},
])  # fmt: skip
def test_a_request_out_of_bounds_is_a_wire_error(wrong: dict[str, Any]) -> None:
    """Kinds, lengths and times that no screen asks for are refused as they are read."""
    right = {"say": "ask", "kind": "shelve", "alert_id": "a", "reason": "r", "for_s": 60.0}
    assert from_screen(msgspec.msgpack.encode(right)) == Ask(RequestKind.SHELVE, "a", "r", 60.0)
    with pytest.raises(WireError):
        from_screen(msgspec.msgpack.encode({**right, **wrong}))


def test_an_array_that_is_none_is_refused() -> None:
    """Seven bytes are no numbers, and neither is a word."""
    good = msgspec.msgpack.decode(framed(News(screen_samples.healthy(), "", None))[4:])
    for bad in (b"1234567", "word", None):
        good["latest"]["strands"][0]["temp_c"] = bad
        with pytest.raises(WireError):
            from_watch(msgspec.msgpack.encode(good))


def test_versions_that_do_not_fit_are_told_with_both() -> None:
    """A hello of another time is still read, even with keys that we do not know."""
    raw = msgspec.msgpack.encode({
        "say": "hello", "protocol": 9, "version": "7.1", "layout": "x", "pid": 3, "mood": "good"
    })  # fmt: skip
    other = from_watch(raw)
    assert isinstance(other, Hello)
    assert not is_understood(other)
    told = mismatch_text(other, hello(1))
    assert "the watch runs strandwatch 7.1 (protocol 9, layout x)" in told
    assert f"this screen is of strandwatch {hello(1).version} (protocol 1, layout {attach_wire.layout()})" in told


def test_the_layout_sign_shows_types_and_not_descriptions() -> None:
    """Another type of one field gives another sign; another description does not."""
    schema = {"properties": {"time_s": {"type": "number"}}, "description": "now"}
    assert attach_wire._bare(schema) == {"properties": {"time_s": {"type": "number"}}}
    assert len(attach_wire.layout()) == 8


def test_the_past_survives_in_pieces_of_bounded_size() -> None:
    """A history of four days of sixty curves goes over in messages far below the longest, and arrives bit by bit."""
    history = History()
    for time_s in range(0, 360_000, 200):
        history.take_readings(float(time_s), {f"curve {number}": time_s / (number + 1) for number in range(60)})
    frames = [framed(Past(piece)) for piece in history.pieces()]
    assert max(map(len, frames)) < PIECE_BUCKETS * 60 * 12 + 2_000 < LONGEST_FROM_WATCH / 20
    assert len(frames) == sum(-(-size.buckets // PIECE_BUCKETS) for size in SIZES)
    heard = [from_watch(frame[4:]) for frame in frames]
    assert [told.piece for told in heard if isinstance(told, Past)] == list(history.pieces())
