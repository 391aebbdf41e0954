"""What a fault takes from the feed of one strand of the simulated machine, or from the reading of a sensor.

Owns the patterns: jam, grinding, clog, narrowing, run-out, tangle, loose contact. Their sizes are invented, their
shapes are those known in the trade (common practice, no source). Knows nothing of encoders, programs or heaters.
"""

from dataclasses import dataclass
from math import inf
from random import Random
from typing import Final

from connectors.simulated_scenarios import Fault, FaultKind

JAM_LAG_MM: Final = (2.0, 10.0)
"""Fed after a long stand before the swollen part of the strand bites."""
JAM_HOLD: Final = (0.02, 0.25)
"""Share of the feed that a jammed drive still gets through."""
GRIND_HOLD: Final = (0.0, 0.12)
GROOVE_MM: Final = 4.0
"""Commanded feed over which a grinding drive cuts its groove."""
CLOG_PER_MM: Final = 6e-5
CLOG_MOST: Final = 0.6
WIDE_MM_S: Final = 4.5
"""Speed that a channel just lets through when it begins to narrow: above all but the fastest stretches."""
NARROWS_S_MM: Final = 4e-4
"""Loss of that speed per millimetre fed [mm/s per mm]."""
NARROWEST_MM_S: Final = 0.4
STRETCH_MM: Final = (5.0, 20.0)
"""Commanded feed over which a tangled strand draws tight."""
TANGLE_HOLD: Final = (0.0, 0.08)
TAIL_MM: Final = 60.0
"""From encoder to drive: so much still feeds after the end of the strand has passed the encoder."""
LOOSE_EVERY_S: Final = 60.0
LOOSE_FOR_S: Final = (1.0, 3.0)
LOOSE_BY_K: Final = (50.0, 130.0)


@dataclass(frozen=True, slots=True)
class Loss:
    """Shares of a move [-]: lost smoothly, lost in skips of the motor, and reaching the melt but for skips.

    What is faster than `limit_mm_s` [mm/s] skips besides.
    """

    smooth: float
    skipped: float
    melted: float
    limit_mm_s: float = inf


NO_LOSS: Final = Loss(0.0, 0.0, 1.0)


class StrandFault:
    """A fault of one strand; it takes hold when the strand first feeds after the fault's onset."""

    def __init__(self, fault: Fault, random: Random) -> None:
        self._fault, self._random = fault, random
        self._lag_mm = random.uniform(*JAM_LAG_MM) if fault.kind is FaultKind.JAM else 0.0
        self._stretch_mm = random.uniform(*STRETCH_MM) if fault.kind is FaultKind.TANGLE else 0.0
        self._begin_mm: float | None = None
        self._hold, self._hold_until_mm = 0.0, 0.0

    def loss(self, new_mm: float, mark_mm: float, time_s: float) -> Loss:
        """Loss of a move that feeds `new_mm` beyond what was ever fed, up to `mark_mm` [mm]."""
        if not self._fault.onset_s <= time_s < self._fault.until_s:
            return NO_LOSS
        if self._begin_mm is None:
            self._begin_mm = mark_mm + self._lag_mm
        beyond_mm = mark_mm - self._begin_mm
        return NO_LOSS if beyond_mm < 0 else self._loss_beyond(beyond_mm, new_mm)

    def _loss_beyond(self, beyond_mm: float, new_mm: float) -> Loss:
        if self._fault.kind is FaultKind.RUN_OUT:  # nothing is left at the encoder, whichever way the drive turns
            return Loss(1.0, 0.0, 1.0 if beyond_mm < TAIL_MM else 0.0)
        if self._fault.kind is FaultKind.GRIND:  # no grip, whichever way
            lost = self._severe(min(1.0, beyond_mm / GROOVE_MM) * (1.0 - self._held(beyond_mm, GRIND_HOLD)))
            return Loss(lost, 0.0, 1.0 - lost)
        return NO_LOSS if new_mm == 0 else self._loss_of_new(beyond_mm)

    def _loss_of_new(self, beyond_mm: float) -> Loss:
        """Loss where new strand alone is concerned: what is withdrawn comes back."""
        kind = self._fault.kind
        if kind is FaultKind.JAM:
            return Loss(0.0, self._severe(1.0 - self._held(beyond_mm, JAM_HOLD)), 1.0)
        if kind is FaultKind.TANGLE:
            tight = min(1.0, beyond_mm / self._stretch_mm) ** 2
            return Loss(0.0, self._severe(tight * (1.0 - self._held(beyond_mm, TANGLE_HOLD))), 1.0)
        if kind is FaultKind.NARROWING:
            left_mm_s = WIDE_MM_S - NARROWS_S_MM * self._fault.severity * beyond_mm
            return Loss(0.0, 0.0, 1.0, limit_mm_s=max(NARROWEST_MM_S, left_mm_s))
        lost = min(CLOG_MOST, CLOG_PER_MM * self._fault.severity * beyond_mm)
        return Loss(lost, 0.0, 1.0 - lost)

    def _severe(self, share: float) -> float:
        return min(1.0, share * self._fault.severity)

    def _held(self, beyond_mm: float, bounds: tuple[float, float]) -> float:
        """Share the drive still gets through: irregular, drawn anew every few millimetres."""
        if beyond_mm >= self._hold_until_mm:
            self._hold = self._random.uniform(*bounds)
            self._hold_until_mm = beyond_mm + self._random.uniform(1.0, 5.0)
        return self._hold


class LooseContact:
    """A sensor whose contact fails for moments: how much too low it reads."""

    def __init__(self, random: Random) -> None:
        self._random = random
        self._left_s, self._by_k = 0.0, 0.0

    def step(self, step_s: float) -> float:
        """Move on by `step_s` and tell by how much the sensor reads too low [K]."""
        self._left_s -= step_s
        if self._left_s <= 0 and self._random.random() < step_s / LOOSE_EVERY_S:
            self._left_s, self._by_k = self._random.uniform(*LOOSE_FOR_S), self._random.uniform(*LOOSE_BY_K)
        return self._by_k if self._left_s > 0 else 0.0
