"""What is known of the walls: the last values of every sensor, their ages, and the cautious reading of a silence.

A wall that has gone silent is taken at the hotter of its last temperature and its set point. Pure.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from connectors.telemetry import channel
from monitor.core.assessment import Array, Quality, WallReading
from monitor.core.parameters import Parameters

OFF_C: Final = 40.0
"""A set point up to this keeps nothing hot [°C]: controllers write 0 for a heater that is off."""


class Sensor(NamedTuple):
    """Last values of one sensor; None for what was never reported. `seen_s` is when its temperature last came.

    `is_estimate` tells that `temp_c` was reckoned, because the sensor is not there or silent.
    """

    temp_c: float | None = None
    set_c: float | None = None
    duty: float | None = None
    seen_s: float = 0.0
    is_estimate: bool = False


Sensors = tuple[Sensor, ...]


@dataclass(frozen=True, slots=True)
class SensorChannels:
    """Channel names of one sensor, made once."""

    name: str
    temp: str
    target: str
    duty: str


def sensor_channels(parameters: Parameters) -> tuple[SensorChannels, ...]:
    """Channels of all sensors that walls depend on, in the order of the wall vector."""
    return tuple(
        SensorChannels(name, channel("temp_c", name), channel("set_c", name), channel("duty", name))
        for name in parameters.sensors
    )


def read_sensors(
    known: Sensors, channels: tuple[SensorChannels, ...], values: Mapping[str, float], time_s: float
) -> Sensors:
    """Sensors after a sample; what it does not report keeps its last value."""
    get = values.get
    read = [
        Sensor(
            get(names.temp, temp_c),
            get(names.target, set_c),
            get(names.duty, duty),
            *((time_s, False) if names.temp in values else (seen_s, is_estimate)),
        )
        for (temp_c, set_c, duty, seen_s, is_estimate), names in zip(known, channels, strict=True)
    ]
    return tuple(read)


def wall_vector(sensors: Sensors, parameters: Parameters, time_s: float) -> Array:
    """Wall temperatures to reckon with at `time_s`, ambient first [°C].

    A sensor silent for longer than `stale_after_s` counts as the hotter of its last value and its set point. One that
    never reported counts as its set point, or as ambient where not even that is known; the assessment then says BAD.
    """
    stale_s = parameters.limits.stale_after_s
    walls = [parameters.ambient_c]
    for temp_c, set_c, _, seen_s, is_estimate in sensors:
        if is_estimate and temp_c is not None:
            walls.append(temp_c)
        elif temp_c is None:
            walls.append(parameters.ambient_c if set_c is None else max(set_c, parameters.ambient_c))
        elif set_c is not None and set_c > temp_c and time_s - seen_s > stale_s:
            walls.append(set_c)
        else:
            walls.append(temp_c)
    return np.array(walls)


def wall_readings(
    sensors: Sensors, channels: tuple[SensorChannels, ...], time_s: float, stale_after_s: float
) -> tuple[WallReading, ...]:
    """Sensors as the screen shows them."""
    return tuple(
        WallReading(
            names.name,
            sensor.temp_c,
            sensor.set_c,
            sensor.duty,
            _quality(sensor, time_s, stale_after_s),
            time_s - sensor.seen_s,
            sensor.is_estimate,
        )
        for sensor, names in zip(sensors, channels, strict=True)
    )


def _quality(sensor: Sensor, time_s: float, stale_after_s: float) -> Quality:
    if sensor.temp_c is None:
        return Quality.BAD
    if sensor.is_estimate:
        return Quality.GOOD
    return Quality.STALE if time_s - sensor.seen_s > stale_after_s else Quality.GOOD
