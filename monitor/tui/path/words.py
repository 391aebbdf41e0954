"""Words and marks of the hot path: its walls, aged material, and what the channel holds that all strands share."""

from collections.abc import Sequence
from typing import Final

from monitor.core.alert_types import Priority
from monitor.core.assessment import SharedReading, WallReading
from monitor.tui.ink import Look
from monitor.tui.words import duration, temperature

ESTIMATE: Final = "~"
"""Before a temperature that no sensor gave."""

MARK_LOOK: Final = {"w": Look(signal=Priority.WARNING, bold=True), "L": Look(signal=Priority.ALARM, bold=True)}
"""Looks of material past its warn dose, and past its limit."""


def wall_temperature(wall: WallReading) -> str:
    """Temperature of a wall; an estimate is marked as one.

    >>> from monitor.core.assessment import Quality
    >>> wall_temperature(WallReading("cold_end", 41.2, None, None, Quality.GOOD, 90.0, is_estimate=True))
    '~41 °C est.'
    """
    return f"{ESTIMATE}{temperature(wall.temp_c)} est." if wall.is_estimate else temperature(wall.temp_c)


def shared_words(shared: Sequence[SharedReading]) -> str:
    """What the channel that all strands share holds: the greatest share first, whose it is, and how long it is there.

    >>> shared_words([]), shared_words([SharedReading(5, 0.8, 12.0, 1.0, 190.0, 285.0)])
    ('shared by all', 'shared: 80 % of 5, 12 s')
    """
    greatest_first = sorted(shared, key=lambda held: -held.share)
    parts = [f"{held.share * 100:.0f} % of {held.input}, {duration(held.age_s)}" for held in greatest_first]
    return f"shared: {'; '.join(parts)}" if parts else "shared by all"
