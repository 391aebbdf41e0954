"""Build files (ISO 6983 style) read into a schedule: who feeds when, how long each input stands, at which set points.

Pure: numpy and the standard library alone; what is read is handed in as blocks of bytes or an open binary file. Knows
nothing of heat, machines that run, or screens. What a slicer says in comments is never read.
"""

from monitor.build_file.failure import BuildFileError
from monitor.build_file.reader import read_build_file
from monitor.build_file.schedule import BuildSchedule
from monitor.build_file.settings import MotionSettings

__all__ = ["BuildFileError", "BuildSchedule", "MotionSettings", "read_build_file"]
