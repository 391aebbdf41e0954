"""What the simulated machine would say on a wire: its samples as serial replies and as JSON messages.

Owns two invented dialects for tests from end to end: the trade's line protocol, and a JSON stream of a full state
followed by changes. Only writes; reading is the connectors' job. Pure.
"""

import json
from collections.abc import Mapping
from typing import Final, Literal

from connectors.simulated_scenarios import INPUTS
from connectors.telemetry import Execution, Sample

FILE_BYTES: Final = 4_812_544
"""Size of the invented build file."""
DUTY_STEPS: Final = 127
"""Full power in a temperature report of the line protocol."""
HEATERS: Final = {"manifold": 0, "nozzle": 1}
"""Sensor with a heater -> its number in the line protocol."""
SENSORS: Final = {"manifold": 0, "nozzle": 1, "cold_end": 2, "coolant": 3}
"""Sensor -> its number in the line protocol."""
MOTION_PATTERN: Final = r"Strand sensor E(?P<input>\d+): seen (?P<mm>-?\d+\.\d+) mm"
"""How the encoder of a drive reports; drives count from 0. For a profile's patterns."""
STALL_PATTERN: Final = r"warning: driver E(?P<input>\d+) stalled"
"""How a driver reports a stall."""

Feed = Literal["per drive", "one axis"]
Json = dict[str, "Json | float | str"]


class SerialVoice:
    """The machine as a controller that reports by itself over a serial line.

    Parameters
    ----------
    feed : {"per drive", "one axis"}
        Whether positions carry a feed value per drive, or one for whichever drive is active. One axis is told
        apart by the line that names the active drive, so samples must be close enough to hold one turn each.
    """

    def __init__(self, feed: Feed = "per drive") -> None:
        self._feed = feed
        self._before: Mapping[str, float] = {}
        self._active: int | None = None

    def lines(self, sample: Sample, following: Sample | None = None) -> list[str]:
        """Lines of one sample, without their ends, in the order in which they are sent.

        With the sample that follows, the next drive is named before it moves, as a controller does at a change;
        without it only together with its first movement.
        """
        values, before, self._before = sample.values, self._before, sample.values
        told = [temperature_line(values)]
        if self._feed == "one axis":
            told += self._active_drive_line(*((before, values) if following is None else (values, following.values)))
        told.append(position_line(values, self._feed))
        for number in INPUTS:
            seen = f"sensed_mm:{number}"
            if values[seen] != before.get(seen):
                told.append(f"Strand sensor E{number - 1}: seen {values[seen]:.2f} mm")
            if values[f"stall:{number}"] > 0:
                told.append(f"warning: driver E{number - 1} stalled")
        told.append(storage_line(sample))
        return told

    def _active_drive_line(self, before: Mapping[str, float], after: Mapping[str, float]) -> list[str]:
        moved = {number: after[f"fed_mm:{number}"] - before.get(f"fed_mm:{number}", 0.0) for number in INPUTS}
        active = max(INPUTS, key=lambda number: (moved[number] > 0, abs(moved[number])))
        if moved[active] == 0 or active == self._active:
            return []
        self._active = active
        return [f"echo:Active Extruder: {active - 1}"]


def temperature_line(values: Mapping[str, float]) -> str:
    """Temperature report: every sensor with its set point, then the duty of every heater in 127ths."""
    set_c = {sensor: values.get(f"set_c:{sensor}", 0.0) for sensor in SENSORS}
    temps = [f"T{n}:{values[f'temp_c:{sensor}']:.1f} /{set_c[sensor]:.1f}" for sensor, n in SENSORS.items()]
    duties = [f"@{n}:{round(values[f'duty:{sensor}'] * DUTY_STEPS)}" for sensor, n in HEATERS.items()]
    return " ".join([*temps, *duties])


def position_line(values: Mapping[str, float], feed: Feed) -> str:
    """Position report. The other axes are of no interest here and stand still."""
    fed_mm = [values[f"fed_mm:{number}"] for number in INPUTS]
    if feed == "one axis":
        return f"X:110.00 Y:92.50 Z:0.40 E:{sum(fed_mm):.2f}"
    return " ".join(["X:110.00 Y:92.50 Z:0.40", *(f"E{n}:{mm:.2f}" for n, mm in enumerate(fed_mm))])


def storage_line(sample: Sample) -> str:
    """How far the build file has been read."""
    if sample.execution is not Execution.ACTIVE:
        return "Not SD printing"
    return f"SD printing byte {round(sample.values['progress'] * FILE_BYTES)}/{FILE_BYTES}"


class JsonVoice:
    """The machine as a server of JSON messages (JSON-RPC 2.0): a full state, then merge patches (RFC 7396)."""

    def __init__(self) -> None:
        self._told: Json = {}
        self._number = 0

    def full(self, sample: Sample) -> str:
        """Answer to the first request: the whole state."""
        self._told = state_of(sample)
        result = {"clock": sample.time_s, "state": self._told}
        return json.dumps({"jsonrpc": "2.0", "id": 1, "result": result})

    def partial(self, sample: Sample) -> str:
        """Notification of what has changed since the last message; call `full` first."""
        state = state_of(sample)
        change = _difference(self._told, state)
        self._told, self._number = state, self._number + 1
        params = {"clock": sample.time_s, "n": self._number, "change": change}
        return json.dumps({"jsonrpc": "2.0", "method": "watch.delta", "params": params})


def state_of(sample: Sample) -> Json:
    """State document: heat by sensor, feed by drive (counted from 0), the job."""
    values = sample.values
    heat: Json = {sensor: _heat(values, sensor) for sensor in SENSORS}
    feed: Json = {
        str(number - 1): {
            "run": values[f"fed_mm:{number}"],
            "seen": values[f"sensed_mm:{number}"],
            "stalled": values[f"stall:{number}"],
        }
        for number in INPUTS
    }
    job: Json = {"state": "" if sample.execution is None else str(sample.execution), "share": values["progress"]}
    return {"heat": heat, "feed": feed, "job": job}


def _heat(values: Mapping[str, float], sensor: str) -> Json:
    names = {"now": "temp_c", "goal": "set_c", "load": "duty"}
    return {name: values[f"{kind}:{sensor}"] for name, kind in names.items() if f"{kind}:{sensor}" in values}


def _difference(old: Json, new: Json) -> Json:
    change: Json = {}
    for key, value in new.items():
        before = old.get(key)
        if isinstance(value, dict) and isinstance(before, dict):
            if inner := _difference(before, value):
                change[key] = inner
        elif value != before:
            change[key] = value
    return change
