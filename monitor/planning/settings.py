"""What a plan takes for granted of a machine: how fast its manifold follows, how warm its cold end gets.

Owns meaning and defaults of these values. Does not know where they stand in a profile.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class PlanSettings:
    """What the build file and the parameters leave open.

    Parameters
    ----------
    heats_k_s, cools_k_s : float
        How fast walls follow a set point that rises, or falls [K/s]. Judgement: a block of some hundred grams with
        60 W gains 0.4 K/s and, insulated, loses a few kelvin a minute.
    cold_end_c : float or None
        Temperature of a cold end with a sensor while all is well [°C]; None: 12 K above ambient (judgement).
    tool_sensors : Mapping[int, str]
        The sensor that a tool's set points in a build file are for. Of tools that are not named here: the last sensor
        before the outlet, the nozzle's.
    """

    heats_k_s: float = 0.4
    cools_k_s: float = 0.05
    cold_end_c: float | None = None
    tool_sensors: Mapping[int, str] = field(default_factory=dict)
