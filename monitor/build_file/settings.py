"""What has to be known of a machine to read its build files: limits of motion, inputs of tools, habits of its dialect.

Owns the meaning and the defaults of these values. Does not know where they stand in a profile.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, NamedTuple

NO_LIMIT: Final = 1e9
"""Stands for a limit that is not known [mm/s or mm/s²]: above anything that moves, and safe to calculate with."""

Mix = tuple[tuple[int, float], ...]
"""Share of each input in a mix: pairs of input and factor on the feed, in the order of the inputs."""


class AxisLimits(NamedTuple):
    """A limit for each axis, in the unit of what it limits."""

    x: float = NO_LIMIT
    y: float = NO_LIMIT
    z: float = NO_LIMIT
    e: float = NO_LIMIT


_NONE: Final = AxisLimits()


@dataclass(frozen=True, slots=True)
class MotionSettings:
    """Motion of a machine, and how it reads its files.

    Parameters
    ----------
    acceleration_mm_s2 : float
        Acceleration along a move, until the file says otherwise [mm/s²].
    is_acceleration_known : bool
        Whether somebody measured or looked up the acceleration; else the planned time is a wide range.
    axis_accelerations_mm_s2, axis_speeds_mm_s : AxisLimits
        Limits of single axes [mm/s², mm/s].
    corner_deviation_mm : float
        How far the tool may cut a corner [mm]; it sets the speed in corners unless `corner_speed_mm_s` does.
    corner_speed_mm_s : float or None
        Largest sudden change of speed of one axis [mm/s].
    first_speed_mm_s : float
        Speed of moves before the first F word [mm/s].
    toolchange_s : float
        How long a change of the tool takes, with whatever macros the controller runs [s].
    tool_heating_k_s, plate_heating_k_s : float
        How fast heaters come up, for waits [K/s].
    room_c : float
        Where heating starts [°C].
    retract_mm, extra_prime_mm, retract_speed_mm_s : float
        What G10 and G11 do until M207 and M208 say otherwise [mm, mm, mm/s].
    first_tool : int
        The lowest tool number, active at the start of a file.
    tools : Mapping[int, Mix]
        What each tool feeds. A tool that is absent feeds input `tool - first_tool + 1` if that is one of `inputs`.
    inputs : int
        Number of inputs.
    changes_on_m6 : bool
        T only selects and M6 changes, as in RS274; else T changes at once.
    g90_sets_e : bool
        G90 and G91 switch the feed axis too.
    dwell_p_in_seconds : bool
        P of G4 is in seconds, as in RS274; else in milliseconds.
    speeds_per_minute : bool
        M203 and M566 are in mm/min; else M203 is in mm/s.
    e_per_tool : bool
        Every tool has its own absolute feed position; else all share one.
    mixes_at_once : bool
        M163 changes the running mix; else only M164 does.
    """

    acceleration_mm_s2: float = 1500.0
    is_acceleration_known: bool = False
    axis_accelerations_mm_s2: AxisLimits = _NONE
    axis_speeds_mm_s: AxisLimits = _NONE
    corner_deviation_mm: float = 0.013
    corner_speed_mm_s: float | None = None
    first_speed_mm_s: float = 30.0
    toolchange_s: float = 20.0
    tool_heating_k_s: float = 2.0
    plate_heating_k_s: float = 0.25
    room_c: float = 25.0
    retract_mm: float = 2.0
    extra_prime_mm: float = 0.0
    retract_speed_mm_s: float = 40.0
    first_tool: int = 0
    tools: Mapping[int, Mix] = field(default_factory=dict)
    inputs: int = 64
    changes_on_m6: bool = False
    g90_sets_e: bool = False
    dwell_p_in_seconds: bool = False
    speeds_per_minute: bool = False
    e_per_tool: bool = False
    mixes_at_once: bool = False
