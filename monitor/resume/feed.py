"""Counters of feed that go on where a recording left them, although the link of the new process begins at zero.

What the machine fed while nobody watched is not credited: nobody knows it, and a strand must not pass for fresher than
it is. Pure. Knows nothing of files or clocks.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from connectors.telemetry import Event, Sample, channel

_FED: Final = "fed_mm:"
_SENSED: Final = "sensed_mm:"


class CarriedCounters:
    """Lifts the counters of a new link onto those of a recording.

    Parameters
    ----------
    last_mm : Mapping[str, float]
        Channel -> its last recorded value [mm].
    """

    def __init__(self, last_mm: Mapping[str, float]) -> None:
        self._last_mm = dict(last_mm)
        self._lift_mm: dict[str, float] = {}
        self._now_mm: dict[str, float] = {}

    def event(self, event: Event) -> Event:
        """The event with its counters lifted; any other than a sample as it is."""
        if not isinstance(event, Sample) or not any(map(is_counter, event.values)):
            return event
        # commanded feed first: an encoder's first word is held against it
        names = sorted(filter(is_counter, event.values))
        lifted = {name: self._lifted(name, event.values[name]) for name in names}
        return replace(event, values={name: lifted.get(name, value) for name, value in event.values.items()})

    def _lifted(self, name: str, value_mm: float) -> float:
        if name not in self._last_mm:
            return value_mm
        if name not in self._lift_mm:
            self._lift_mm[name] = self._last_mm[name] + self._fed_before_mm(name) - value_mm
        self._now_mm[name] = value_mm + self._lift_mm[name]
        return self._now_mm[name]

    def _fed_before_mm(self, name: str) -> float:
        """What was fed before an encoder's first word: it counts as arrived, for nothing tells that it did not."""
        if not name.startswith(_SENSED):
            return 0.0
        fed = channel("fed_mm", name.removeprefix(_SENSED))
        return self._now_mm.get(fed, 0.0) - self._last_mm.get(fed, 0.0) if fed in self._now_mm else 0.0


def is_counter(name: str) -> bool:
    """Whether a channel counts feed from the link's own zero.

    >>> [is_counter(name) for name in ("fed_mm:1", "sensed_mm:4", "temp_c:manifold", "progress")]
    [True, True, False, False]
    """
    return name.startswith((_FED, _SENSED))
