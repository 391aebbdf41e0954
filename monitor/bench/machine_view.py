"""What the machine has said so far, as the bench needs it: manifold, nozzle, feed and slip of one input.

Owns the memory of readings and how long they have been what they are. Knows nothing of steps or words.
"""

from typing import Final

from connectors.telemetry import Event, LinkChange, Malformed, Sample, channel

STEADY_WITHIN_K: Final = 1.5
"""So near to what was asked for, a wall counts as there (judgement: a controller's ripple, a sensor's noise)."""
STEADY_FOR_S: Final = 45.0
"""A wall that was near for so long has settled: a strand in it takes seconds to follow (judgement)."""
SILENT_AFTER_S: Final = 10.0


class MachineView:
    """Newest readings of one input and its walls. Moved on by `take`.

    Parameters
    ----------
    input_number : int
        Whose strand is on the bench.
    manifold, nozzle : str, str or None
        Names of the sensors.
    """

    def __init__(self, input_number: int, manifold: str, nozzle: str | None) -> None:
        self.time_s = 0.0
        self.is_heard = False  # within the last seconds
        self.why_not = ""
        self.gaps = 0  # how often the machine fell silent, or its feed was not counted
        self.flags = 0  # stalls that the driver has reported
        self.fed_mm: float | None = None
        self.sensed_mm: float | None = None
        self.tells_flags = False
        self.temp_c: dict[str, float] = {}
        self.set_c: dict[str, float] = {}
        self.manifold, self.nozzle = manifold, nozzle
        self._fed, self._sensed, self._stall = (
            channel(kind, input_number) for kind in ("fed_mm", "sensed_mm", "stall")
        )
        self.heard_s = 0.0  # when the newest sample came

    @property
    def manifold_c(self) -> float | None:
        """Wall of the manifold [°C]; None before it was told."""
        return self.temp_c.get(self.manifold)

    def take(self, event: Event) -> None:
        """Remember what an event says."""
        self.time_s = max(self.time_s, event.time_s)
        if isinstance(event, Sample):
            self._take_sample(event)
        elif isinstance(event, LinkChange):
            if not event.available or event.feed_unknown:
                self._lose(event.reason)
        elif not isinstance(event, Malformed) and self.is_heard and self.time_s - self.heard_s > SILENT_AFTER_S:
            self._lose(f"the machine has said nothing for {SILENT_AFTER_S:.0f} s")

    def is_near(self, sensor: str, asked_c: float) -> bool:
        """Whether a wall is as hot as asked."""
        temp_c = self.temp_c.get(sensor)
        return temp_c is not None and abs(temp_c - asked_c) <= STEADY_WITHIN_K

    def _lose(self, why: str) -> None:
        if self.is_heard:
            self.gaps += 1
        self.is_heard, self.why_not = False, why

    def _take_sample(self, sample: Sample) -> None:
        self.is_heard, self.heard_s = True, sample.time_s
        values = sample.values
        for sensor in filter(None, (self.manifold, self.nozzle)):
            for kind, known in (("temp_c", self.temp_c), ("set_c", self.set_c)):
                told = values.get(channel(kind, sensor))
                if told is not None:
                    known[sensor] = told
        self.fed_mm = values.get(self._fed, self.fed_mm)
        self.sensed_mm = values.get(self._sensed, self.sensed_mm)
        if self._stall in values:
            self.tells_flags = True
            self.flags += values[self._stall] > 0
