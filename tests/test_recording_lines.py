"""Lines of a recording: what goes in comes out, the schema holds, and no garbage raises."""

import json
import math
from types import MappingProxyType

import jsonschema
import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from connectors.recording import Conclusion, Decoder, Encoder
from connectors.telemetry import Event, Execution, LinkChange, Malformed, Sample, Tick
from tests.recording_examples import HEADER, NIGHT, SCHEMA, events, night_lines, validator

UNHURRIED = settings(deadline=None)
"""A busy computer is no failure."""

json_values = st.recursive(
    st.none() | st.booleans() | st.floats(allow_nan=False, allow_infinity=False) | st.text("abc °", max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text("abc", max_size=5), inner, max_size=3),
    max_leaves=8,
)


@UNHURRIED
@given(st.lists(events, max_size=12))
@example(list(NIGHT))
def test_any_events_come_back_the_same(given_events: list[Event]) -> None:
    """Events written as lines and read again are equal to the last digit, and new channels lose none of them."""
    encoder, decoder = Encoder(HEADER), Decoder(HEADER)
    lines = b"".join(encoder.encode(event) for event in given_events).splitlines(keepends=True)
    read = [item for line in lines if (item := decoder.decode(line)) is not None]
    assert read == given_events
    assert [type(item) for item in read] == [type(event) for event in given_events]
    assert decoder.skipped == 0


@UNHURRIED
@given(st.lists(events, max_size=6))
@example(list(NIGHT))
def test_every_line_fits_the_schema(given_events: list[Event]) -> None:
    """Each line of events is valid under exactly one form of the published schema."""
    encoder, check = Encoder(HEADER), validator("line")
    for event in given_events:
        for line in encoder.encode(event).splitlines():
            check.validate(json.loads(line))


def test_the_schema_is_itself_valid_and_tells_header_from_lines() -> None:
    """The schema is valid Draft 2020-12; a header is no line, and lines that break the format are refused."""
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    header, *lines = [json.loads(line) for line in night_lines()]
    validator("header").validate(header)
    assert not validator("line").is_valid(header)
    assert all(validator("line").is_valid(line) and not validator("header").is_valid(line) for line in lines)
    wrong: tuple[object, ...] = (
        [1.0, "RUNNING"],
        [1.0, None, "195"],
        [],
        {"kind": "link", "time_s": 1.0, "available": "yes", "reason": ""},
        {"kind": "columns", "time_s": 1.0, "columns": ["execution", "time_s"]},
        {"kind": "columns", "time_s": 1.0, "columns": ["time_s", "execution", "warmth:1"]},
        {"time_s": 1.0},
    )
    assert [line for line in wrong if validator("line").is_valid(line)] == []


@UNHURRIED
@given(st.text("abcxyz", min_size=1), st.dictionaries(st.just("a"), json_values))
def test_conclusions_come_back_the_same(kind: str, data: dict[str, object]) -> None:
    """A conclusion in plain data survives writing and reading."""
    line = Encoder(HEADER).encode_conclusion(kind, 7.5, data)
    assert Decoder(HEADER).decode(line) == Conclusion(kind, 7.5, data)


def test_rows_are_as_documented() -> None:
    """A tick is a lone time, an absent value null, an absent end left out, a new channel named in a line before."""
    encoder = Encoder(HEADER)
    assert encoder.encode(Tick(3.0)) == b"[3.0]\n"
    assert encoder.encode(Sample(3.0, {})) == b"[3.0,null]\n"
    assert encoder.encode(Sample(3.0, {"set_c:manifold": 0.0}, Execution.WAIT)) == b'[3.0,"WAIT",null,0.0]\n'
    columns, row = encoder.encode(Sample(4.0, {"duty:nozzle": 0.5})).splitlines()
    assert json.loads(columns)["columns"] == ["time_s", "execution", *HEADER.columns, "duty:nozzle"]
    assert row == b"[4.0,null,null,null,null,null,0.5]"
    assert encoder.encode(Sample(5.0, {"duty:nozzle": 0.5})).count(b"\n") == 1


def test_zero_and_unknown_stay_apart() -> None:
    """0 comes back as 0, a value not reported comes back as no value."""
    sample = Sample(1.0, {"set_c:manifold": 0.0, "fed_mm:2": -0.0})
    read = Decoder(HEADER).decode(Encoder(HEADER).encode(sample))
    assert read == sample
    assert isinstance(read, Sample)
    assert math.copysign(1.0, read.values["fed_mm:2"]) == -1.0


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_numbers_that_json_lacks_are_our_own_mistake(number: float) -> None:
    """A value, or a time, that is not finite raises and names it, rather than becoming 'not reported'."""
    encoder = Encoder(HEADER)
    with pytest.raises(ValueError, match=r"temp_c:manifold.*finite"):
        encoder.encode(Sample(1.0, {"temp_c:manifold": number}))
    for event in (Sample(number, {}), Tick(number), LinkChange(number, available=True, reason="")):
        with pytest.raises(ValueError, match="time_s is"):
            encoder.encode(event)
    with pytest.raises(ValueError, match="time_s is"):
        encoder.encode_conclusion("alert", number, {})


def test_conclusions_cannot_pose_as_events() -> None:
    """Kinds of events, and the keys of the line itself, are refused in conclusions."""
    encoder = Encoder(HEADER)
    for kind in ("link", "malformed", "columns", ""):
        with pytest.raises(ValueError, match="kind is"):
            encoder.encode_conclusion(kind, 0.0, {})
    with pytest.raises(ValueError, match="time_s"):
        encoder.encode_conclusion("alert", 0.0, {"time_s": 1.0})


def test_numbers_of_other_makes_and_mappings_are_written() -> None:
    """Scalars of numpy and read-only mappings are plain data in a recording; other objects are refused."""
    sample = Sample(np.float64(1.5), MappingProxyType({"fed_mm:1": np.float64(0.1), "fed_mm:2": 3}))
    assert Decoder(HEADER).decode(Encoder(HEADER).encode(sample)) == Sample(1.5, {"fed_mm:1": 0.1, "fed_mm:2": 3.0})
    line = Encoder(HEADER).encode_conclusion("assessment", 1.0, MappingProxyType({"n": np.int64(4)}))
    assert json.loads(line) == {"kind": "assessment", "time_s": 1.0, "n": 4}
    with pytest.raises(TypeError, match="plain data"):
        Encoder(HEADER).encode_conclusion("assessment", 1.0, {"n": object()})


DAMAGED = (
    b"[1.0,null,2.0",
    b'[1.0,null,"195"]',
    b'[1.0,"RUNNING"]',
    b"[true]",
    b'["1"]',
    b"[NaN,null]",
    b"[1.0,null,1e999]",
    b"[]",
    b"[1.0] [2.0]",
    b"\x00\x00\x00[1.0]",
    b"\xff\xfe[1.0]",
    b"12",
    b"nonsense",
    b"[" * 100_000,
    b'{"kind":"note","time_s":1.0,"a":' + b"[" * 100_000,
    b'{"kind":"note","time_s":1.0,"a":"\xff"}',
    b'{"kind":"note","time_s":1.0,"a":"\\ud800"}',
    b'{"kind":"note","time_s":"1.0"}',
    b'{"kind":"note"}',
    b'{"kind":7,"time_s":1.0}',
    b'{"time_s":1.0}',
    b'{"kind":"link","time_s":1.0,"available":1,"reason":""}',
    b'{"kind":"malformed","time_s":1.0,"reason":""}',
    b'{"kind":"columns","columns":["time_s","execution","temp_c:other"]}',
    b'{"kind":"columns","columns":"all"}',
)


@pytest.mark.parametrize("line", DAMAGED, ids=lambda line: repr(line[:40]))
def test_damaged_lines_are_skipped_and_counted(line: bytes) -> None:
    """What is no line of ours yields nothing, counts one, and does not disturb the next line."""
    decoder = Decoder(HEADER)
    assert decoder.decode(line + b"\n") is None
    assert decoder.skipped == 1
    assert decoder.decode(b"[2.0,null,195.0]\n") == Sample(2.0, {"temp_c:manifold": 195.0})


@UNHURRIED
@given(st.binary(max_size=80))
def test_no_bytes_raise(line: bytes) -> None:
    """Any bytes at all yield an item, or nothing."""
    Decoder(HEADER).decode(line)


@UNHURRIED
@given(st.sampled_from(night_lines()), st.integers(0, 400), st.integers(0, 255))
def test_one_changed_byte_never_raises(line: bytes, place: int, byte: int) -> None:
    """A line with one byte flipped is read as something finite, or skipped."""
    changed = bytearray(line)
    changed[place % len(line)] = byte
    item = Decoder(HEADER).decode(bytes(changed))
    assert item is None or math.isfinite(item.time_s)


def test_blank_lines_and_line_ends_of_editors_do_no_harm() -> None:
    """Empty lines count for nothing; CR LF reads as LF."""
    decoder = Decoder(HEADER)
    assert decoder.decode(b"\r\n") is None
    assert decoder.decode(b"") is None
    assert decoder.decode(b"[2.0]\r\n") == Tick(2.0)
    assert decoder.skipped == 0


def test_a_lost_columns_line_costs_only_the_new_channel() -> None:
    """Rows longer than the columns known keep the channels that are known."""
    encoder, decoder = Encoder(HEADER), Decoder(HEADER)
    _, row = encoder.encode(Sample(1.0, {"temp_c:manifold": 195.0, "duty:nozzle": 0.5})).splitlines()
    assert decoder.decode(row) == Sample(1.0, {"temp_c:manifold": 195.0})
    assert decoder.decode(encoder.encode_columns(2.0)) is None
    assert decoder.decode(row) == Sample(1.0, {"temp_c:manifold": 195.0, "duty:nozzle": 0.5})
    assert decoder.skipped == 0


def test_text_passes_the_cleaning_door_on_its_way_in() -> None:
    """A recording made by someone else cannot bring terminal commands with it."""
    decoder = Decoder(HEADER)
    link = decoder.decode(b'{"kind":"link","time_s":1.0,"available":true,"reason":"a\\u001b[2Jb"}')
    assert link == LinkChange(1.0, available=True, reason="a␛[2Jb")
    odd = decoder.decode(b'{"kind":"malformed","time_s":1.0,"reason":"\\u202e","excerpt":"\\u0007"}')
    assert odd == Malformed(1.0, "", "␇")
    news = decoder.decode(b'{"kind":"al\\u0007","time_s":1.0,"text":["\\u001b"]}')
    assert news == Conclusion("al␇", 1.0, {"text": ["␛"]})


def test_conclusions_of_later_programs_are_passed_on() -> None:
    """A kind of object unknown today is still an item, so that a later program may add some."""
    assert Decoder(HEADER).decode(b'{"kind":"marginal","time_s":1,"n":2}') == Conclusion("marginal", 1.0, {"n": 2})


def test_a_second_header_is_noticed() -> None:
    """A header among the lines says that another recording begins there."""
    decoder = Decoder(HEADER)
    assert decoder.decode(Encoder(HEADER).header_line()) is None
    assert decoder.another_begins
