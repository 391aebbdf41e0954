"""JSON objects in serial lines: where values stand (RFC 6901), and what is absent. The shapes are invented."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from connectors.serial_protocol import SerialProtocol
from connectors.serial_settings import SerialSettings
from connectors.telemetry import Sample

SETTINGS = SerialSettings.model_validate(
    {
        "port": "/dev/invented",
        "sensors": {"manifold": "/melt_c/1", "upper": "/melt_c/2"},
        "input_of_tool": {0: 1, 1: 2},
        "json_places": {"set_points": {"manifold": "/aim_c/1"}, "tool": "/tool", "axis": "/fed", "drives": "/drive_mm"},
    }
)


def _values(settings: SerialSettings, *documents: dict[str, Any]) -> dict[str, float]:
    """Everything that a row of objects, one a second, says."""
    protocol, found = SerialProtocol(settings), dict[str, float]()
    protocol.opened(0.0)
    for time_s, document in enumerate(documents):
        for event in protocol.receive(json.dumps(document).encode() + b"\n", float(time_s)):
            assert isinstance(event, Sample)
            found |= event.values
    return found


def test_values_are_read_at_their_places() -> None:
    """Temperatures and set points by pointer; the single axis feeds the input of the tool named in the same object."""
    heat = {"melt_c": [60.1, 214.8, 179.9], "aim_c": [60.0, 215.0]}
    found = _values(SETTINGS, {"tool": 1, "fed": 10.0, **heat}, {"tool": 1, "fed": 12.0, **heat})
    assert found == {
        "temp_c:manifold": 214.8,
        "set_c:manifold": 215.0,
        "temp_c:upper": 179.9,
        "fed_mm:1": 0.0,
        "fed_mm:2": 2.0,
    }


def test_array_of_drives() -> None:
    """One value per drive, where the settings say so."""
    per_drive = SETTINGS.model_copy(update={"feed": "per_drive"})
    found = _values(per_drive, {"drive_mm": [31.0, 20.0, 0.0]}, {"drive_mm": [32.0, None, 0.0]})
    assert found == {"fed_mm:1": 1.0, "fed_mm:2": 0.0}


@pytest.mark.parametrize("broken", [None, "214.8", True, [], {}, -273.1, 10**400])
def test_what_is_no_number_is_absent(broken: object) -> None:
    """Null, text, truth values, containers, the placeholder and absurd numbers give no value and no error."""
    document = {"melt_c": [0, broken, broken], "aim_c": [0, broken], "tool": 0, "fed": broken, "drive_mm": broken}
    found = _values(SETTINGS, document, document)
    assert not [name for name in found if not name.startswith("fed_mm")]
    assert set(found.values()) <= {0.0}


def test_no_active_tool_is_said_with_null() -> None:
    """With null for the tool, feed belongs to nobody."""
    assert _values(SETTINGS, {"tool": 0, "fed": 1.0}, {"tool": None, "fed": 2.0}, {"tool": None, "fed": 3.0}) == {
        "fed_mm:1": 0.0,
        "fed_mm:2": 0.0,
    }


def test_missing_members_are_absent() -> None:
    """An object that lacks everything says nothing."""
    assert _values(SETTINGS, {}, {"melt_c": []}, {"melt_c": [1.0]}) == {}


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=5), inner, max_size=4),
    max_leaves=8,
)


@given(st.fixed_dictionaries({}, optional=dict.fromkeys(("melt_c", "aim_c", "tool", "fed", "drive_mm"), JSON)))
def test_no_document_raises(document: dict[str, Any]) -> None:
    """Whatever stands at the places, reading it does not raise."""
    protocol = SerialProtocol(SETTINGS)
    protocol.receive(json.dumps(document).encode() + b"\n", 0.0)
