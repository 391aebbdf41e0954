"""Ticks for the time in which a foreign file says nothing, as a live link would have sent them. Pure."""

from collections.abc import Iterator
from typing import Final

from connectors.telemetry import Tick

EVERY_S: Final = 5.0
SPARSE_EVERY_S: Final = 60.0
_DENSE_FOR_S: Final = 120.0
_LONGEST_S: Final = 86_400.0
"""Beyond a day of silence nothing more is learned from ticks."""


def ticks_between(before_s: float | None, after_s: float) -> Iterator[Tick]:
    """Ticks of a silence: every five seconds for two minutes, then every minute, for a day.

    >>> [tick.time_s for tick in ticks_between(10.0, 21.0)]
    [15.0, 20.0]
    """
    if before_s is None:
        return
    time_s = before_s + EVERY_S
    while time_s < min(after_s, before_s + _LONGEST_S):
        yield Tick(time_s)
        time_s += EVERY_S if time_s - before_s < _DENSE_FOR_S else SPARSE_EVERY_S
