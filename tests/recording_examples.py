"""Invented headers, events and damaged lines that several tests of recordings share."""

import json
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import jsonschema
from hypothesis import strategies as st

from connectors.clean_text import clean_text
from connectors.recording import Encoder, Header
from connectors.telemetry import Event, Execution, LinkChange, Malformed, Sample, Tick, channel

SCHEMA = json.loads((Path(__file__).parent.parent / "replays" / "recording.schema.json").read_text())
COLUMNS = ("temp_c:manifold", "set_c:manifold", "fed_mm:1", "fed_mm:2")

HEADER = Header(
    start=datetime(2026, 11, 25, 22, 0, 0, tzinfo=timezone(timedelta(hours=1))),
    program="0.1.0",
    machine="garage six",
    source="simulated machine",
    profile={"machine": {"name": "garage six"}, "zones": [{"name": "manifold", "length_mm": 16.0}]},
    materials={"demo-amber": {"glass_c": 57.0, "melt_c": None}},
    columns=COLUMNS,
)

NIGHT: tuple[Event, ...] = (
    LinkChange(0.0, available=True, reason="port opened"),
    Sample(0.25, {"temp_c:manifold": 194.8, "set_c:manifold": 195.0, "fed_mm:1": 0.0}, Execution.ACTIVE),
    Sample(0.5, {"temp_c:manifold": 194.9, "fed_mm:2": 12.5}),
    Tick(1.0),
    Sample(1.5, {"temp_c:nozzle": 225.1}, Execution.FEED_HOLD),
    Malformed(1.75, "unknown line", "T:␛[2J"),
    Sample(2.0, {}),
    Sample(2.5, {"progress": 0.125, "temp_c:manifold": 195.0}),
)

numbers = st.floats(allow_nan=False, allow_infinity=False)
times = numbers
names = st.text(min_size=1, max_size=12).map(clean_text).filter(bool)
channels = st.one_of(
    st.sampled_from(["progress", "file_byte", *COLUMNS]),
    st.builds(channel, st.sampled_from(["temp_c", "set_c", "duty"]), names),
    st.builds(channel, st.sampled_from(["fed_mm", "sensed_mm", "stall"]), st.integers(1, 9)),
)
texts = st.text(max_size=60).map(clean_text)
samples = st.builds(
    Sample, times, st.dictionaries(channels, numbers, max_size=8), st.none() | st.sampled_from(list(Execution))
)
events: st.SearchStrategy[Event] = st.one_of(
    samples,
    st.builds(Tick, times),
    st.builds(LinkChange, times, st.booleans(), texts, st.booleans()),
    st.builds(Malformed, times, texts, texts),
)


def night_lines() -> list[bytes]:
    """Lines of the invented night, header first, one conclusion among the events."""
    encoder = Encoder(HEADER)
    lines = [encoder.header_line()]
    for event in NIGHT:
        lines += encoder.encode(event).splitlines(keepends=True)
    return [*lines, encoder.encode_conclusion("alert", 2.25, {"event": "raised", "limit": None})]


def validator(part: str) -> jsonschema.Draft202012Validator:
    """Checker against one definition of the recording's schema."""
    schema: dict[str, Any] = {"$ref": f"#/$defs/{part}", "$defs": SCHEMA["$defs"]}
    return jsonschema.Draft202012Validator(schema)
