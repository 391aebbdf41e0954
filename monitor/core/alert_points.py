"""The points that are watched for alerts: one per condition and part of the machine, each with its limits.

Made once from the parameters; the order of the points is the order of the value vector that the engine fills.
"""

import math
from dataclasses import dataclass

from monitor.core.alert_table import ALERT_TABLE, Rule
from monitor.core.hot_path import merge_sensors, watched_liners
from monitor.core.parameters import Parameters

LEVELS = 3
STALLED_PERCENT = 50.0  # of the feed lost: less is slipping, which the part may survive. Judgement


@dataclass(frozen=True, slots=True)
class Point:
    """One thing watched.

    `limits` rise with urgency and are padded with infinity; a value above a limit is at that level. `strand` and `zone`
    are indexes into the parameters, `input` the number the owner knows.
    """

    rule: Rule
    subject: str
    limits: tuple[float, float, float]
    strand: int | None = None
    input: int | None = None
    zone: int | None = None

    @property
    def group(self) -> str:
        """Points of the same group have the same cause."""
        own = f"{self.rule.condition} of {self.subject}"
        return self.rule.group.format(subject=self.subject) if self.rule.group else own


def alert_points(parameters: Parameters) -> tuple[Point, ...]:
    """All points: per strand dose, softening, ceiling, cold feed, standing; liners, shared channel, sensors, link."""
    strands = [
        point
        for condition in ("dose", "softening", "ceiling", "cold_feed", "standing", "stall")
        for point in _strand_points(condition, parameters)
    ]
    link = Point(ALERT_TABLE["link"], "link", _padded(parameters.limits.unavailable_after_s))
    return (
        *strands,
        *_liner_points(parameters),
        *_shared_points(parameters),
        *_melt_points(parameters),
        *_sensor_points(parameters),
        link,
    )


def _strand_points(condition: str, parameters: Parameters) -> list[Point]:
    points = []
    for index, strand in enumerate(parameters.strands):
        limits = {
            "dose": (strand.material.warn_min, strand.material.limit_min),
            "softening": (parameters.limits.softening_warn_min, parameters.limits.softening_limit_min),
            "ceiling": (strand.material.ceiling_c,),
            "cold_feed": (0.0,),
            "standing": (parameters.limits.idle_backstop_h,),
            "stall": (0.0, STALLED_PERCENT),
        }[condition]
        points.append(
            Point(ALERT_TABLE[condition], f"input {strand.input}", _padded(*limits), strand=index, input=strand.input)
        )
    return points


def _liner_points(parameters: Parameters) -> list[Point]:
    points = []
    for index in watched_liners(parameters):
        zone = parameters.zones[index]
        limits = parameters.liners[zone.liner or ""]
        points.append(
            Point(ALERT_TABLE["liner"], zone.name, (limits.warn_c, limits.alarm_c, limits.stop_c), zone=index)
        )
    return points


def _shared_points(parameters: Parameters) -> list[Point]:
    """One where strands share a channel at all; its limit is a strand's own warn dose, in percent of it."""
    has_channel = parameters.last_before_merge + 1 < len(parameters.zones)
    return [Point(ALERT_TABLE["shared"], "shared channel", _padded(100.0))] if has_channel else []


def _melt_points(parameters: Parameters) -> list[Point]:
    """One for each heater at the merge point whose power is known; above nothing, energy is missing."""
    sensors = merge_sensors(parameters)
    heaters = [heater.name for heater in parameters.heaters if heater.sensor in sensors]
    return [Point(ALERT_TABLE["melt"], name, _padded(0.0)) for name in heaters]


def _sensor_points(parameters: Parameters) -> list[Point]:
    """One for each sensor; one that is estimated may stay silent for ever."""
    return [
        Point(
            ALERT_TABLE["sensor"],
            f"sensor {name}",
            _padded(math.inf if name == parameters.estimated_sensor else parameters.limits.unavailable_after_s),
        )
        for name in parameters.sensors
    ]


def _padded(*limits: float) -> tuple[float, float, float]:
    first, second, third = (*limits, *(math.inf,) * (LEVELS - len(limits)))
    return first, second, third
