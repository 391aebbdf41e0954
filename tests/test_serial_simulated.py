"""The simulated machine, spoken as serial lines and read back: what is read is what the machine did."""

from itertools import pairwise
from typing import Literal

import pytest

from connectors.serial_protocol import SerialProtocol
from connectors.serial_settings import SerialSettings
from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import INPUTS, SCENARIOS
from connectors.telemetry import Sample
from tests.simulated_wire import MOTION_PATTERN, SENSORS, Feed, SerialVoice

PATTERNS = [{"name": "motion", "regex": MOTION_PATTERN, "channels": {"sensed_mm": {"group": "mm"}}}]


@pytest.mark.parametrize(("spoken", "feed"), [("per drive", "per_drive"), ("one axis", "single_axis")])
def test_an_hour_is_read_back(spoken: Feed, feed: Literal["per_drive", "single_axis"]) -> None:
    """Every temperature is read as printed, and fed and measured lengths agree to the last digit, with no complaint."""
    settings = SerialSettings.model_validate(
        {
            "port": "/dev/invented",
            "sensors": {name: f"T{number}" for name, number in SENSORS.items()},
            "input_of_tool": {number - 1: number for number in INPUTS},
            "feed": feed,
            "patterns": PATTERNS,
        }
    )
    told = [event for event in simulate(SCENARIOS["cold-manifold"], duration_s=3600) if isinstance(event, Sample)]
    protocol, voice, read = SerialProtocol(settings), SerialVoice(spoken), dict[str, float]()
    protocol.opened(told[0].time_s)
    for now, following in pairwise(told):
        for event in protocol.receive("\r\n".join([*voice.lines(now, following), ""]).encode(), now.time_s):
            assert isinstance(event, Sample)
            read |= event.values
    moved = [name for name in now.values if name.startswith(("fed_mm", "sensed_mm")) and name in read]
    assert len(moved) > len(INPUTS)
    assert {name: read[name] for name in moved} == pytest.approx({name: now.values[name] for name in moved}, abs=0.011)
    assert {name: read[f"temp_c:{name}"] for name in SENSORS} == {
        name: now.values[f"temp_c:{name}"] for name in SENSORS
    }
    assert protocol.counts == {"feed_rebased": 0}
