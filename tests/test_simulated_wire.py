"""The wire view of the simulated machine: what a reader takes from the lines and messages is what the samples say."""

import json
import re
from collections.abc import Iterable
from functools import cache
from itertools import pairwise
from typing import Any

import pytest

from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import INPUTS, SCENARIOS
from connectors.telemetry import Execution, Sample
from tests.simulated_wire import (
    DUTY_STEPS,
    FILE_BYTES,
    MOTION_PATTERN,
    STALL_PATTERN,
    JsonVoice,
    SerialVoice,
    state_of,
    storage_line,
    temperature_line,
)

NUMBER = r"(-?\d+(?:\.\d+)?)"


@cache
def night() -> tuple[Sample, ...]:
    """Two hours with skips: a stretch of the night with the cold manifold."""
    events = simulate(SCENARIOS["cold-manifold"], duration_s=12_000)
    return tuple(event for event in events if isinstance(event, Sample))


def test_temperature_lines_carry_every_sensor_and_duty() -> None:
    """Read back by an independent pattern, a report gives temperatures, set points and duties of the sample."""
    sensors = ("manifold", "nozzle", "cold_end", "coolant")
    for sample in night()[::97]:
        line = temperature_line(sample.values)
        temps = re.findall(rf"T(\d):{NUMBER} /{NUMBER}", line)
        duties = re.findall(r"@(\d):(\d+)", line)
        assert re.fullmatch(rf"(?:T\d:{NUMBER} /{NUMBER} ?)+(?:@\d:\d+ ?)+", line)
        assert [float(now) for _, now, _ in temps] == [sample.values[f"temp_c:{sensor}"] for sensor in sensors]
        assert [float(goal) for _, _, goal in temps] == [
            sample.values["set_c:manifold"], sample.values["set_c:nozzle"], 0.0, 0.0
        ]  # fmt: skip
        read = [int(steps) / DUTY_STEPS for _, steps in duties]
        assert read == pytest.approx([sample.values["duty:manifold"], sample.values["duty:nozzle"]], abs=6e-5)


def per_drive_feed(lines: list[str]) -> list[float]:
    (position,) = (line for line in lines if line.startswith("X:"))
    return [float(mm) for _, mm in re.findall(rf"E(\d):{NUMBER}", position)]


def test_positions_per_drive_are_the_fed_lengths() -> None:
    """With a feed value per drive, drive 0 is input 1 and so on."""
    voice = SerialVoice("per drive")
    for sample in night()[::53]:
        assert per_drive_feed(voice.lines(sample)) == [sample.values[f"fed_mm:{number}"] for number in INPUTS]


def check_one_axis(samples: Iterable[tuple[Sample, Sample | None]]) -> None:
    """Sort the differences of the one axis by the drive named last, as any reader must."""
    voice, active, axis_mm = SerialVoice("one axis"), 0, 0.0
    fed_mm = [0.0] * len(INPUTS)
    for sample, following in samples:
        for line in voice.lines(sample, following):
            if found := re.fullmatch(r"echo:Active Extruder: (\d)", line):
                active = int(found[1])
            elif found := re.fullmatch(rf"X:.* E:{NUMBER}", line):
                fed_mm[active] += float(found[1]) - axis_mm
                axis_mm = float(found[1])
        assert fed_mm == pytest.approx([sample.values[f"fed_mm:{number}"] for number in INPUTS], abs=0.05)


def test_one_axis_and_the_active_drive_give_every_input_its_feed() -> None:
    """Feed of one axis, credited to the drive that was named last, adds up to the feed of each input."""
    check_one_axis((sample, None) for sample in night())


def test_the_next_drive_is_named_before_it_moves() -> None:
    """With the following sample at hand, a change of drive is told a whole report before the first movement."""
    check_one_axis(pairwise(night()))
    voice, named_s = SerialVoice("one axis"), []
    for sample, following in pairwise(night()):
        if any(line.startswith("echo:") for line in voice.lines(sample, following)):
            named_s.append(sample.time_s)
    moving_s = {
        later.time_s
        for earlier, later in pairwise(night())
        if any(later.values[f"fed_mm:{n}"] != earlier.values[f"fed_mm:{n}"] for n in INPUTS)
    }
    assert len(named_s) > 60
    assert not moving_s.intersection(named_s)


def test_encoder_and_stall_lines_match_their_patterns() -> None:
    """What the patterns take from the lines is the newest count of each encoder and each stall of a driver."""
    voice, seen_mm, stalls = SerialVoice(), dict.fromkeys(INPUTS, 0.0), 0
    for sample in night():
        for line in voice.lines(sample):
            if found := re.fullmatch(MOTION_PATTERN, line):
                seen_mm[int(found["input"]) + 1] = float(found["mm"])
            elif found := re.fullmatch(STALL_PATTERN, line):
                assert sample.values[f"stall:{int(found['input']) + 1}"] == 1
                stalls += 1
        assert seen_mm == {number: sample.values[f"sensed_mm:{number}"] for number in INPUTS}
    assert stalls == sum(sample.values[f"stall:{number}"] for sample in night() for number in INPUTS) > 10


def test_storage_lines_follow_the_progress() -> None:
    """While the build runs the byte is the progress of the file; otherwise nothing is read."""
    for sample in night()[::301]:
        line = storage_line(sample)
        if sample.execution is not Execution.ACTIVE:
            assert line == "Not SD printing"
            continue
        found = re.fullmatch(r"SD printing byte (\d+)/(\d+)", line)
        assert found is not None
        assert int(found[2]) == FILE_BYTES
        assert int(found[1]) / FILE_BYTES == pytest.approx(sample.values["progress"], abs=1e-6)


def merge_patch(target: Any, patch: Any) -> Any:  # noqa: ANN401 -- JSON is of any shape
    """RFC 7396, section 2, the algorithm as printed there."""
    if not isinstance(patch, dict):
        return patch
    target = dict(target) if isinstance(target, dict) else {}
    for name, value in patch.items():
        if value is None:
            target.pop(name, None)
        else:
            target[name] = merge_patch(target.get(name), value)
    return target


def test_changes_merged_into_the_full_state_give_each_sample() -> None:
    """A reader that merges every change by RFC 7396 has the whole state of the newest sample; no number is skipped."""
    voice = JsonVoice()
    first, *later = night()[400:2_000]
    answer = json.loads(voice.full(first))
    assert (answer["jsonrpc"], answer["id"]) == ("2.0", 1)
    state = answer["result"]["state"]
    for number, sample in enumerate(later, start=1):
        message = json.loads(voice.partial(sample))
        assert "id" not in message  # a notification of JSON-RPC 2.0
        assert message["params"]["n"] == number
        assert message["params"]["clock"] == sample.time_s
        state = merge_patch(state, message["params"]["change"])
        assert state == state_of(sample)


def test_changes_hold_only_what_changed() -> None:
    """A sample like the one before sends an empty change."""
    voice = JsonVoice()
    voice.full(night()[0])
    assert json.loads(voice.partial(night()[0]))["params"]["change"] == {}
