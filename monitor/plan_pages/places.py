"""Where in the file a planned time is, and what is typed there.

Owns the wording of places and of lines to insert. A set point's letters are common practice, no source; they are those
by which the file itself was read.
"""

from typing import NamedTuple

import numpy as np

from monitor.build_file.schedule import BuildSchedule, Heater
from monitor.planning.clock_words import planned_words
from monitor.planning.options import Build


class Place(NamedTuple):
    """A planned time in the file; of the line only about where it is, of the layer the height above the plate."""

    time_s: float
    line: int
    z_mm: float | None

    def words(self) -> str:
        """When, and about which line."""
        if self.time_s <= 0.0:
            return "0:00, before the first move"
        layer = "" if self.z_mm is None else f", at z {self.z_mm:g} mm"
        return f"{planned_words(self.time_s)}, about line {self.line}{layer}"


def place_of(schedule: BuildSchedule, time_s: float) -> Place:
    """Find a planned time in the file: lines are known at every thousandth, and taken as even between."""
    marks = schedule.marks
    line = int(np.interp(time_s, marks.time_s, marks.line)) + 1
    begun = [layer.z_mm for layer in schedule.layers if layer.time_s <= time_s]
    return Place(time_s, min(line, max(schedule.lines, 1)), begun[-1] if begun else None)


def set_point_line(build: Build, set_c: float) -> str | None:
    """The line that sets the manifold; None when the profile gives its heater no tool number.

    >>> set_point_text(9, 190.0)
    'M104 T9 S190'
    """
    tools = [tool for tool, sensor in sorted(build.settings.tool_sensors.items()) if sensor == build.manifold]
    return set_point_text(tools[0], set_c) if tools else None


def set_point_text(tool: int, set_c: float) -> str:
    """A set point as a line of a file."""
    return f"M104 T{tool} S{set_c:g}"


def manifold_lines(build: Build) -> tuple[int, ...]:
    """Lines on which the file itself gives the manifold a set point, other than to switch it off."""
    sensors = build.settings.tool_sensors
    return tuple(
        point.line
        for point in build.schedule.set_points
        if point.heater is Heater.TOOL and point.target_c > 0.0 and sensors.get(point.number) == build.manifold
    )
