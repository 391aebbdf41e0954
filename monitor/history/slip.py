"""Slip of late, from what an encoder has told so far: share of the newest feed that did not arrive.

An assessment tells sums since the watch began; this takes differences. Knows nothing of alarms or of healthy slip.
"""

import math
from collections.abc import Iterator
from typing import Final, NamedTuple

from monitor.core.assessment import Activity, Quality
from monitor.history.seen import Seen, SeenStrand

OVER_MM: Final = 50.0
"""Feed over which slip is reckoned [mm]: over less an encoder's single counts would show. Judgement."""


class _Sum(NamedTuple):
    fed_mm: float
    lost_mm: float


class SlipMeter:
    """Reckons slip from moment to moment."""

    def __init__(self) -> None:
        self._base: dict[int, _Sum] = {}
        self._newest: dict[int, float] = {}

    def take(self, seen: Seen) -> Iterator[tuple[str, float]]:
        """Give slip by key [%]; NaN where nothing moves, so that nothing tells."""
        for strand in seen.strands:
            if strand.flow_slip:
                yield f"slip {strand.input}", self._slip(strand)

    def _slip(self, strand: SeenStrand) -> float:
        """Slip over the newest feed; while too little moved since, the one before, as long as it moves."""
        now, number = _told(strand), strand.input
        base = self._base.setdefault(number, now)
        moved_mm = now.fed_mm - base.fed_mm
        if moved_mm < 0.0:
            self._base[number] = now
        elif moved_mm >= OVER_MM:
            self._base[number] = now
            self._newest[number] = 100.0 * (now.lost_mm - base.lost_mm) / moved_mm
            return self._newest[number] if strand.quality == Quality.GOOD else math.nan
        if strand.quality != Quality.GOOD or strand.activity != Activity.FEEDING:
            self._newest.pop(number, None)
        return self._newest.get(number, math.nan)


def _told(strand: SeenStrand) -> _Sum:
    return _Sum(sum(it.fed_mm for it in strand.flow_slip), sum(it.fed_mm * it.slip for it in strand.flow_slip))
