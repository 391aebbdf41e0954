"""The points that are watched for alerts: one per condition and part of the machine, each with its limits.

Made once from the parameters; the order of the points is the order of the value vector that the engine fills.
"""

import math
from dataclasses import dataclass

from monitor.core.alert_rule import Rule
from monitor.core.alert_table import ALERT_TABLE
from monitor.core.hot_path import merge_sensors, watched_liners
from monitor.core.parameters import Parameters, WallLaw

LEVELS = 3
OFF_SET_K, FAR_OFF_SET_K = 10.0, 25.0  # from a heater's set point. Judgement
COLD_MANIFOLD, HOT_MANIFOLD = "cold manifold", "hot manifold"
STALLED_PERCENT = 50.0  # of the feed lost: less is slipping, which the part may survive. Judgement


@dataclass(frozen=True, slots=True)
class Point:
    """One thing watched.

    `limits` rise with urgency and are padded with infinity; a value above a limit is at that level. `strand`, `zone`
    and `sensor` are indexes into the parameters, `input` the number the owner knows.
    """

    rule: Rule
    subject: str
    limits: tuple[float, float, float]
    strand: int | None = None
    input: int | None = None
    zone: int | None = None
    sensor: int | None = None
    cause: str = ""  # where it is another than the table's

    @property
    def group(self) -> str:
        """Points of the same group have the same cause."""
        own = f"{self.rule.condition} of {self.subject}"
        return self.cause or (self.rule.group.format(subject=self.subject) if self.rule.group else own)


def alert_points(parameters: Parameters) -> tuple[Point, ...]:
    """All points, in their order: of strands, liners, shared channel, melting, heaters, cooling, sensors, link."""
    strands = [
        point
        for condition in ("dose", "softening", "ceiling", "cold_feed", "standing", "stall", "next_use")
        for point in _strand_points(condition, parameters)
    ]
    link = Point(ALERT_TABLE["link"], "link", _padded(parameters.limits.unavailable_after_s))
    return (
        *strands,
        *_liner_points(parameters),
        *_shared_points(parameters),
        *_melt_points(parameters),
        *_heater_points("heater_low", COLD_MANIFOLD, parameters),
        *_heater_points("heater_high", HOT_MANIFOLD, parameters),
        *_cooling_points(parameters),
        *_implausible_points(parameters),
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
            "next_use": (0.0,),
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


def _heater_points(condition: str, cause: str, parameters: Parameters) -> list[Point]:
    """One for each sensor: what is off its set point at the merge point has the same cause as what follows there."""
    at_merge, rule = merge_sensors(parameters), ALERT_TABLE[condition]
    limits = (OFF_SET_K, FAR_OFF_SET_K)[: len(rule.priorities)]
    return [
        Point(rule, f"sensor {name}", _padded(*limits), sensor=index, cause=cause if name in at_merge else "")
        for index, name in enumerate(parameters.sensors)
    ]


def _cooling_points(parameters: Parameters) -> list[Point]:
    """One where a sensor tells of the cold end; an estimate is blind to cooling that fails."""
    upstream, at_merge = parameters.zones[: parameters.last_before_merge], merge_sensors(parameters)
    if not any(zone.law is WallLaw.SENSOR and zone.sensor not in at_merge for zone in upstream):
        return []
    softens_c = min(strand.material.glass_c for strand in parameters.strands)
    return [Point(ALERT_TABLE["cooling"], "cold end", _padded(softens_c - parameters.limits.cold_end_margin_k))]


def _implausible_points(parameters: Parameters) -> list[Point]:
    rule = ALERT_TABLE["implausible"]
    return [Point(rule, f"sensor {name}", _padded(0.5), sensor=index) for index, name in enumerate(parameters.sensors)]


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
