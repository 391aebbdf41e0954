"""The profile's `[planning]`, and the tools heaters answer to in build files, as settings for a plan; and in words.

Owns which keys of the profile a plan needs. Knows nothing of files or faults.
"""

from collections.abc import Iterator
from typing import Final

from monitor.core.hot_path import merge_sensors
from monitor.core.parameters import Parameters, WallLaw
from monitor.planning.course import COLD_END_ABOVE_AMBIENT_K
from monitor.planning.settings import PlanSettings
from monitor.profile.model import ProfileFile

COLD_END_ORIGIN: Final = f"ambient_c and {COLD_END_ABOVE_AMBIENT_K:g} K, judgement"


def plan_settings(model: ProfileFile) -> PlanSettings:
    """Make the settings of a profile without faults."""
    table = model.planning
    tools = {heater.tool: heater.sensor for heater in model.heaters if heater.tool is not None}
    return PlanSettings(table.heats_k_s, table.cools_k_s, table.cold_end_c, tools)


def cold_end_default(model: ProfileFile, parameters: Parameters) -> float | None:
    """What a plan takes for the cold end's sensor, where there is one and the table does not say [°C]."""
    merge = merge_sensors(parameters)
    zones = parameters.zones[: parameters.last_before_merge]
    has_sensor = any(zone.law is WallLaw.SENSOR and zone.sensor not in merge for zone in zones)
    if model.planning.cold_end_c is not None or not has_sensor:
        return None
    return parameters.ambient_c + COLD_END_ABOVE_AMBIENT_K


def heater_tool_lines(settings: PlanSettings) -> Iterator[str]:
    """Tell which sensor's heater each tool number of a build file sets, where the profile says so."""
    tools = [f"T{tool} sets the heater at {sensor}" for tool, sensor in sorted(settings.tool_sensors.items())]
    if tools:
        yield f"build files: {', '.join(tools)}; every other tool the nozzle's"
