"""Words of the alerts about sensors, heaters, cooling and the link: what is wrong, with the number, and what to do."""

import numpy as np

from monitor.core.alert_facts import Facts, SensorFacts
from monitor.core.duration_words import clock_words
from monitor.core.percent_words import percent


def heater_low_text(facts: Facts) -> str:
    """Tell how far a heater is below its set point."""
    return _off_text(facts, "below")


def heater_low_action(facts: Facts) -> str:
    """Tell what to do about a heater that does not give enough."""
    duty = sensor_of(facts).wall.duty
    if duty is not None and duty > _FULL:
        return (
            f"{_pause(facts)}Look at heater, wire, supply, draught: it heats at {percent(duty)} and does not reach it."
        )
    return f"{_pause(facts)}Look whether the controller has switched the heater off, and at heater, wire and supply."


def heater_high_text(facts: Facts) -> str:
    """Tell how far a heater is above its set point."""
    return _off_text(facts, "above")


def heater_high_action(facts: Facts) -> str:
    """Tell what to do about a heater that gives too much."""
    if facts.level > 1:
        return "Switch the heater off; if it does not fall within a minute, cut the power; air the room, then go close."
    return (
        f"{_pause(facts)}Watch whether it falls; if it does not, cut the power. The machine's own protection must stay"
        " on."
    )


def cooling_text(facts: Facts) -> str:
    """Tell how warm the cold end has become."""
    limit_c = facts.point.limits[0]
    return (
        f"the cold end is at {facts.value:.0f} °C; from {limit_c:.0f} °C on it is within {facts.margin_k:.0f} K of"
        f" where {facts.softest} softens"
    )


def cooling_action(_: Facts) -> str:
    """Tell what to do about cooling that fails."""
    return (
        "Look at coolant, pump, radiator and fan. Until they work, lower the manifold as far as the strands can feed."
    )


def implausible_text(facts: Facts) -> str:
    """Tell why a reading cannot be believed."""
    sensor = sensor_of(facts)
    if sensor.still_s is not None and sensor.wall.temp_c is not None:
        return (
            f"{facts.point.subject} has read exactly {sensor.wall.temp_c:g} °C for {clock_words(sensor.still_s)}; it"
            f" never stood still for longer than {clock_words(sensor.longest_still_s)}"
        )
    if sensor.jumps_k:
        return (
            f"{facts.point.subject} jumped {len(sensor.jumps_k)} times within 10 min, by up to"
            f" {max(sensor.jumps_k):.0f} K: no metal heats or cools so fast"
        )
    return f"{facts.point.subject} is steady again, but was not to be believed shortly before"


def implausible_action(facts: Facts) -> str:
    """Tell what to do about a reading that cannot be believed."""
    return (
        f"{_pause(facts)}Do not trust {facts.point.subject}. Its heater is misled as well: switch that heater off, and"
        " when cold check the sensor's seat and wire."
    )


def sensor_text(facts: Facts) -> str:
    """Tell how long a sensor has been silent."""
    return f"{facts.point.subject} has not reported for {clock_words(facts.value)}"


def sensor_action(facts: Facts) -> str:
    """Tell what to do about a silent sensor."""
    return (
        f"Check the wire of {facts.point.subject} and its name in the profile's link section; values there are guesses."
    )


def link_text(facts: Facts) -> str:
    """Tell how long no temperatures have come."""
    return f"no temperatures from the machine for {clock_words(facts.value)}"


def link_action(_: Facts) -> str:
    """Tell what to do about a machine that is silent."""
    return "Check power, cable and controller. Until data return, walls count as hot and strands as standing."


def sensor_of(facts: Facts) -> SensorFacts:
    """The sensor that the alert belongs to; ValueError where it belongs to none."""
    if facts.sensor is None:
        raise ValueError(f"condition {facts.point.rule.condition!r} belongs to a sensor; got none")
    return facts.sensor


def _pause(facts: Facts) -> str:
    return "Pause the build. " if facts.is_building else ""


_FULL = 0.95


def _off_text(facts: Facts, side: str) -> str:
    wall = sensor_of(facts).wall
    if wall.temp_c is None or wall.set_c is None or not np.isfinite(facts.value):
        return f"{facts.point.subject} has no set point to keep any more"
    duty = "" if wall.duty is None else f", at {percent(wall.duty)} duty"
    if facts.value < facts.point.limits[0]:
        return f"{facts.point.subject} is at {wall.temp_c:.0f} °C, back near its set point of {wall.set_c:.0f} °C{duty}"
    return (
        f"{facts.point.subject} is at {wall.temp_c:.0f} °C, {facts.value:.0f} K {side} its set point of"
        f" {wall.set_c:.0f} °C{duty}"
    )
