"""What the profile relies on but the machine never reports, sensors and feeds: told in plain words.

Pure; knows events and names only.
"""

from collections.abc import Iterable
from typing import Final

from connectors.telemetry import Event, Sample, channel

GRACE_S: Final = 30.0
"""From the first sample on, a machine gets this long to report every sensor [s] (our own judgement)."""

ENOUGH_SAMPLES: Final = 3
"""A watch that ended after fewer says nothing about what the machine reports."""

_SHOWN: Final = 12


class SensorRoll:
    """Ticks off the sensors of a profile as the machine reports them.

    Parameters
    ----------
    sensors : Iterable[str]
        Sensors that the profile's walls depend on.
    inputs : Iterable[int]
        Inputs with a strand: without a report of its feed each counts as standing.
    """

    def __init__(self, sensors: Iterable[str], inputs: Iterable[int] = ()) -> None:
        self._missing = {channel("temp_c", sensor): sensor for sensor in sensors}
        self._unfed = {channel("fed_mm", number): number for number in inputs}
        self._reported: set[str] = set()
        self._first_s: float | None = None
        self._samples = 0
        self.notice = ""
        """What the owner should know, from `GRACE_S` after the first sample on; empty when all is well."""

    def take(self, event: Event) -> None:
        """Look at one event. Costs next to nothing once everything has been seen."""
        if not (self._missing or self._unfed) or not isinstance(event, Sample):
            return
        self._samples += 1
        self._first_s = event.time_s if self._first_s is None else self._first_s
        self._reported.update(name for name in event.values if name.startswith("temp_c:"))
        for name in self._missing.keys() & event.values.keys():
            del self._missing[name]
        for name in self._unfed.keys() & event.values.keys():
            del self._unfed[name]
        is_due = event.time_s - self._first_s >= GRACE_S
        self.notice = self.missing_text() if is_due else ""

    def missing_text(self) -> str:
        """What is missing so far, and what to do; empty when nothing is, or the machine said too little to tell."""
        if self._samples < ENOUGH_SAMPLES:
            return ""
        return "; ".join(filter(None, (self._sensors_text(), self._feeds_text())))

    def _feeds_text(self) -> str:
        if not self._unfed:
            return ""
        numbers = ", ".join(map(str, self._unfed.values()))
        return (
            f"the machine never reported the feed of input {numbers}, so what is there counts as standing. On a serial"
            " line see feed, tool_source and tool_at_start in [link]; on a websocket the fed_mm channels"
        )

    def _sensors_text(self) -> str:
        if not self._missing:
            return ""
        names = ", ".join(repr(sensor) for sensor in self._missing.values())
        reported = sorted(name.partition(":")[2] for name in self._reported)[:_SHOWN]
        found = ", ".join(repr(name) for name in reported) if reported else "no temperature at all"
        return (
            f"the profile names sensor {names}, but the machine never reported it; it reports {found}. Correct the"
            " sensor's name in [[zones]] or its mapping in [link]"
        )
