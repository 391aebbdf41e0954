"""What the report takes from samples themselves: temperatures within a row, travels, flags and set points.

Bounded in memory. Knows nothing of the engine's conclusions.
"""

from dataclasses import dataclass
from typing import Final, NamedTuple

from connectors.telemetry import Sample, channel
from monitor.report.capped import Capped
from monitor.report.rows import WallPoint

LEAST_CHANGE_K: Final = 1.0
_MOST_CHANGES: Final = 200


class SetChange(NamedTuple):
    """A set point that was changed."""

    time_s: float
    sensor: str
    from_c: float
    to_c: float


@dataclass(slots=True)
class Travel:
    """How far one input has moved, as commanded and as its encoder saw it, net and both ways; its driver's flags."""

    commanded_mm: float = 0.0
    sensed_mm: float | None = None
    commanded_travel_mm: float = 0.0
    sensed_travel_mm: float = 0.0
    flags: int | None = None
    last_fed_s: float | None = None

    def take(self, sample: Sample, number: int) -> None:
        """Add what a sample says of the input with this number."""
        fed_mm = sample.values.get(channel("fed_mm", number))
        if fed_mm is not None and fed_mm != self.commanded_mm:
            self.last_fed_s = sample.time_s
            self.commanded_travel_mm += abs(fed_mm - self.commanded_mm)
            self.commanded_mm = fed_mm
        sensed_mm = sample.values.get(channel("sensed_mm", number))
        if sensed_mm is not None:
            self.sensed_travel_mm += abs(sensed_mm - (self.sensed_mm or 0.0))
            self.sensed_mm = sensed_mm
        flag = sample.values.get(channel("stall", number))
        if flag is not None:
            self.flags = (self.flags or 0) + (flag > 0.0)


class Walls:
    """What the sensors named have read since the last row, and every change of a set point."""

    def __init__(self, sensors: tuple[str, ...]) -> None:
        self.changes: Capped[SetChange] = Capped(_MOST_CHANGES)
        self._sensors = sensors
        self._points: dict[str, WallPoint] = {}
        self._set_c: dict[str, float] = {}
        self._duty: dict[str, float] = {}

    def take(self, sample: Sample) -> None:
        """Add one sample."""
        for sensor in self._sensors:
            self._take_set(sample, sensor)
            duty = sample.values.get(channel("duty", sensor))
            if duty is not None:
                self._duty[sensor] = duty
            temp_c = sample.values.get(channel("temp_c", sensor))
            if temp_c is not None:
                self._take_temperature(sensor, temp_c)

    def points(self) -> tuple[WallPoint | None, ...]:
        """What was read since this was last asked, sensor by sensor."""
        points, self._points = self._points, {}
        return tuple(
            point and point._replace(set_c=self._set_c.get(sensor), duty=self._duty.get(sensor))
            for sensor, point in ((sensor, points.get(sensor)) for sensor in self._sensors)
        )

    def _take_temperature(self, sensor: str, temp_c: float) -> None:
        before = self._points.get(sensor)
        low_c, high_c = (temp_c, temp_c) if before is None else (before.low_c, before.high_c)
        self._points[sensor] = WallPoint(min(low_c, temp_c), max(high_c, temp_c), temp_c, None, None)

    def _take_set(self, sample: Sample, sensor: str) -> None:
        set_c = sample.values.get(channel("set_c", sensor))
        if set_c is None:
            return
        before_c = self._set_c.get(sensor)
        if before_c is not None and abs(set_c - before_c) >= LEAST_CHANGE_K:
            self.changes.add(SetChange(sample.time_s, sensor, before_c, set_c))
        self._set_c[sensor] = set_c
