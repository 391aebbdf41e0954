"""Blocks for the owner to type: a relative move of the feed axis in the words of ISO 6983-1, as far as it has any.

G91 incremental dimension, G1 linear interpolation, F feed in mm per minute, G90 absolute dimension (ISO 6983-1; from
memory). The standard gives no letter to a strand's drive: E is common practice, no source. It has no word for a
heater's set point, nor one for which strand moves that all machines share, so these are said in words. strandwatch
writes such lines to a screen and to nothing else.
"""

from typing import Final

LINES_NOTE: Final = (
    "Type it yourself, with the build paused; strandwatch never sends it. Select the input first: how, whether E is its"
    " letter and whether G91 rules it differs by machine. If the build counts in increments, leave out G90."
)


def feed_lines(length_mm: float, speed_mm_s: float) -> tuple[str, ...]:
    """Blocks that move the selected strand by `length_mm`, back if negative.

    >>> feed_lines(18.0, 1.0)
    ('G91', 'G1 E18 F60', 'G90')
    """
    return "G91", f"G1 E{length_mm:g} F{60.0 * speed_mm_s:g}", "G90"
