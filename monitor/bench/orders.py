"""Lines the owner types: set points of manifold and nozzle, and feeds.

Owns their spelling. The words of ISO 6983-1 are those of `monitor.core.typed_lines`; M104 for a heater's set point is
common practice, no source. These go to a screen and to nothing else.
"""

from typing import Final

from monitor.bench.job import Job
from monitor.core.typed_lines import feed_lines

HOW: Final = (
    "Lines set in like this are for you to type at the machine; strandwatch never sends anything. M104, T, E and G91"
    " differ by machine: use its own words where it has others. Select the input first. T<manifold>"
    " stands for the number of that heater."
)


def manifold_lines(job: Job, temp_c: float) -> tuple[str, ...]:
    """Set point of the manifold."""
    return (_set_line("manifold" if job.tool is None else job.tool, temp_c),)


def nozzle_lines(job: Job, temp_c: float) -> tuple[str, ...]:
    """Set point of the nozzle."""
    return (_set_line("nozzle" if job.nozzle_tool is None else job.nozzle_tool, temp_c),)


def move_lines(job: Job, length_mm: float) -> tuple[str, ...]:
    """One feed of the selected strand, at the test's speed."""
    return feed_lines(round(length_mm, 1), job.speed_mm_s)


def _set_line(heater: int | str, temp_c: float) -> str:
    """A heater without a known number gets a word in its place, so that nobody sets the wrong one unawares."""
    number = f"<{heater}>" if isinstance(heater, str) else str(heater)
    return f"M104 T{number} S{temp_c:g}"
