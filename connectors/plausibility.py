"""Is one reading believable? A reply carries no checksum, so one odd value alone must prove nothing.

Owns the rules by which a temperature, a set point or a duty is accepted, held back, or refused with its reason. Pure;
knows nothing of lines.
"""

from dataclasses import dataclass
from typing import Final

from connectors.temperature_settings import DEFAULT_FASTEST_K_S, DEFAULT_HIGHEST_C, DEFAULT_LOWEST_C

SMALLEST_JUMP_C: Final = 10.0
"""A change up to this [K] is believed at once, however fast."""

AGREEMENT_C: Final = 5.0
"""A second report within this [K] confirms a suspect one, whatever the time between them."""

OLDEST_SUSPECT_S: Final = 90.0
"""A suspect older than this [s] is confirmed only by what it said itself: longer than the rarest polling, 60 s."""

LONGEST_CREDIT_S: Final = 3.0
"""Longest time [s] over which a change may have built up: after a longer gap one report proves no great change."""


@dataclass(frozen=True, slots=True)
class TemperatureBounds:
    """Temperatures that can be true at all [°C], and the fastest believable change [K/s]."""

    lowest_c: float = DEFAULT_LOWEST_C
    highest_c: float = DEFAULT_HIGHEST_C
    fastest_k_s: float = DEFAULT_FASTEST_K_S

    def __post_init__(self) -> None:
        if self.lowest_c >= self.highest_c:
            raise ValueError(f"lowest_c ({self.lowest_c:g}) must be below highest_c ({self.highest_c:g})")


class TemperatureGate:
    """Lets believable temperatures of one sensor through, and holds back a jump until a second report agrees.

    A second report agrees when a heater can have led from the first to it: a fast one need not slow to be believed.
    """

    def __init__(self, bounds: TemperatureBounds) -> None:
        self._bounds = bounds
        self._last: tuple[float, float] | None = None
        self._suspect: tuple[float, float] | None = None
        self.fault: str | None = None

    def accept(self, reading_c: float | None, time_s: float) -> float | None:
        """Return the temperature [°C] when it is believed, None when it is absent, absurd or still suspect.

        `fault` then tells why a value is absent for good reason; a merely suspect one sets no fault.
        """
        self.fault = self._fault_of(reading_c)
        if reading_c is None or self.fault is not None:
            return None
        if not self._is_believable(reading_c, time_s):
            self._suspect = (reading_c, time_s)
            return None
        self._last, self._suspect = (reading_c, time_s), None
        return reading_c

    def _fault_of(self, reading_c: float | None) -> str | None:
        if reading_c is None:
            return "the controller reports no valid temperature: is the sensor fitted and its wire whole?"
        low_c, high_c = self._bounds.lowest_c, self._bounds.highest_c
        if not low_c <= reading_c <= high_c:
            return f"the controller reports {reading_c:g} °C, outside {low_c:g} to {high_c:g} °C"
        return None

    def _is_believable(self, reading_c: float, time_s: float) -> bool:
        if self._suspect is not None and self._agrees(self._suspect, reading_c, time_s):
            return True
        if self._last is None:
            return False
        last_c, last_s = self._last
        credit_s = min(max(0.0, time_s - last_s), LONGEST_CREDIT_S)
        return abs(reading_c - last_c) <= max(SMALLEST_JUMP_C, self._bounds.fastest_k_s * credit_s)

    def _agrees(self, suspect: tuple[float, float], reading_c: float, time_s: float) -> bool:
        since_s = max(0.0, time_s - suspect[1])
        could_move_k = self._bounds.fastest_k_s * since_s if since_s <= OLDEST_SUSPECT_S else 0.0
        return abs(reading_c - suspect[0]) <= max(AGREEMENT_C, could_move_k)


class SetPointGate:
    """Lets a new set point of one heater through once two reports in a row say the same."""

    def __init__(self, highest_c: float) -> None:
        self._highest_c = highest_c
        self._accepted_c: float | None = None
        self._pending_c: float | None = None

    def accept(self, reading_c: float | None) -> float | None:
        """Return the set point [°C] when it is believed, None when it is absent, absurd or not yet confirmed."""
        if reading_c is None or not 0.0 <= reading_c <= self._highest_c:
            return None
        if reading_c not in (self._accepted_c, self._pending_c):
            self._pending_c = reading_c
            return None
        self._accepted_c, self._pending_c = reading_c, None
        return reading_c


def share_of(reading: float, full: float) -> float | None:
    """Return `reading` as a share of `full`, 0..1; None when it is outside.

    >>> share_of(64, 128), share_of(200, 127)
    (0.5, None)
    """
    return reading / full if 0.0 <= reading <= full else None
