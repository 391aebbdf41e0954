"""What a channel's value must be held against from one reading to the next.

Owns the re-basing of feed, the look for a changed unit, and the telling of what has no value. Pure: time comes with
each call. Knows nothing of messages.
"""

from dataclasses import replace
from typing import Final

from connectors.array_memory import ArrayMemory
from connectors.channel_reading import ChannelReader, Reading
from connectors.feed_ledger import FeedBounds, RunningTotal
from connectors.json_pointer import Json
from connectors.plausibility import TemperatureGate

FAULTS_TOLD_AFTER: Final = 3
"""A channel without a value is told once that came in this many readings in a row."""

STANDS_AFTER_S: Final = 2.0
"""A held temperature that stands in the status for so long [s] is as good as told again."""

UNIT_JUMP_C: Final = 20.0
"""Smaller jumps [K] are never taken for a change of unit."""

UNIT_JUMP_WITHIN_S: Final = 5.0
"""A value older than this [s] may have changed by itself."""

UNIT_AGREEMENT_C: Final = 0.5


class FeedMemory:
    """Turns a machine's own counter of feed into one that is continuous since the watch began."""

    def __init__(self, bounds: FeedBounds) -> None:
        self._running = RunningTotal(bounds)
        self._total_mm = 0.0

    def advance(self, reading_mm: float, time_s: float) -> float | None:
        """Feed since the watch began [mm]; None while a jump waits to be confirmed."""
        step_mm = self._running.advance(reading_mm, time_s)
        if step_mm is None:
            return None
        self._total_mm += step_mm
        return self._total_mm

    def restart(self) -> None:
        """The machine's counter began anew: nothing is credited up to the next reading."""
        self._running.restart()


class ChannelMemory:
    """Remembers one channel.

    Parameters
    ----------
    reader : ChannelReader
        Reads it from a document.
    bounds : FeedBounds or None
        What its counter can do; None when it is no counter.
    gate : TemperatureGate or None
        Which of its temperatures are believed; None when it has none.
    """

    def __init__(self, reader: ChannelReader, bounds: FeedBounds | None, gate: TemperatureGate | None = None) -> None:
        self.reader = reader
        self._gate = gate
        self._held: tuple[float, float] | None = None
        self._waits = False
        self._feed = None if bounds is None else FeedMemory(bounds)
        is_one_of_many = reader.tokens is not None and ":" in reader.name
        self._array = ArrayMemory(reader.tokens or ()) if is_one_of_many else None
        self._last: tuple[float, float] | None = None
        self._faults = 0
        self.notes: list[str] = []
        self.asks_for_full = False

    def read(self, document: Json, time_s: float, *, is_full: bool) -> Reading:
        """Reading that may be believed; what the owner should know besides is left in `notes`."""
        reading = self._believed(self.reader.read(document), document, time_s, is_full=is_full)
        self.notes = [*self._unit_note(reading, time_s), *self._fault_note(reading)]
        return reading

    def restart(self) -> None:
        """The machine began anew."""
        if self._feed is not None:
            self._feed.restart()
        self._last = None

    def _believed(self, reading: Reading, document: Json, time_s: float, *, is_full: bool) -> Reading:
        self.asks_for_full = self._waits = False
        if reading.reason is None and self._array is not None:
            doubt = self._array.check(document, is_full=is_full)
            self.asks_for_full = self._array.asks_for_full
            if doubt is not None:
                return Reading(reason=doubt)
        if reading.value is None:
            return reading
        if self._gate is not None:
            return self._gated(self._gate, reading.value, time_s, is_full=is_full)
        if self._feed is None:
            return reading
        total_mm = self._feed.advance(reading.value, time_s)
        if total_mm is None:
            return Reading(reason=f"jumped to {reading.value:g} mm: held until the next message confirms it")
        return replace(reading, value=total_mm)

    def _gated(self, gate: TemperatureGate, value_c: float, time_s: float, *, is_full: bool) -> Reading:
        """Reading that the gate believes. What merely stands in the status still is no second report."""
        held = self._held
        was_told = is_full or held is None or value_c != held[0] or time_s - held[1] >= STANDS_AFTER_S
        believed_c = gate.accept(value_c, time_s) if was_told else None
        if believed_c is not None:
            self._held = None
            return Reading(value=believed_c)
        self._held = (value_c, time_s) if was_told else held
        self._waits = True
        return Reading(reason=f"jumped to {value_c:g} °C: held until the machine tells it again")

    def _unit_note(self, reading: Reading, time_s: float) -> list[str]:
        if self.reader.kind != "temp_c" or reading.value is None:
            return []
        before, self._last = self._last, (reading.value, time_s)
        if before is None or time_s - before[1] > UNIT_JUMP_WITHIN_S:
            return []
        unit = changed_unit(before[0], reading.value)
        if unit is None:
            return []
        note = (
            f"{self.reader.name} jumped from {before[0]:.1f} to {reading.value:.1f} °C, as if the machine had changed "
            f"{unit}: nothing was converted; if it did, change unit in the profile and start the watch again"
        )
        return [note]

    def _fault_note(self, reading: Reading) -> list[str]:
        if self._waits:
            return []  # a temperature that waits for a second report is no fault
        before = self._faults
        self._faults = 0 if reading.reason is None else min(before + 1, FAULTS_TOLD_AFTER)
        if self._faults == FAULTS_TOLD_AFTER > before:
            return [f"no value for {self.reader.name}: {reading.reason}"]
        return [f"{self.reader.name} has a value again"] if before == FAULTS_TOLD_AFTER > self._faults else []


def changed_unit(before_c: float, after_c: float) -> str | None:
    """Change of unit that would explain a jump of a temperature, in words; None when none does.

    >>> changed_unit(210.0, 410.0), changed_unit(210.0, 230.0)
    ('from °C to °F', None)
    """
    if abs(after_c - before_c) <= UNIT_JUMP_C:
        return None
    explained = {
        "from °C to °F": before_c * 1.8 + 32.0,
        "from °F to °C": (before_c - 32.0) / 1.8,
        "from °C to K": before_c + 273.15,
        "from K to °C": before_c - 273.15,
    }
    near = [text for text, value_c in explained.items() if abs(after_c - value_c) <= UNIT_AGREEMENT_C]
    return near[0] if near else None
