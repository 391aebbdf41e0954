"""Between what limits the planned length of a build will be found.

Owns that judgement: nobody knows it from the file. Common practice, no source: estimates with known limits of motion
are seldom better than a tenth, those without them can be half as long again and more.
"""

from typing import Final

from monitor.build_file.schedule import TimeRange, Times

KNOWN: Final = (0.97, 1.10)
UNKNOWN: Final = (0.95, 1.60)
_HEATING: Final = (0.0, 2.0)  # already hot, or twice as slow


def duration(times: Times, *, limits_known: bool) -> TimeRange:
    """Length of the build: motion within a range, tool changes and dwells as they are, heating from none to twice."""
    low, high = KNOWN if limits_known else UNKNOWN
    still_s = times.dwell_s + times.change_s
    return TimeRange(
        times.moving_s * low + still_s + times.heating_s * _HEATING[0],
        times.moving_s + still_s + times.heating_s,
        times.moving_s * high + still_s + times.heating_s * _HEATING[1],
    )
