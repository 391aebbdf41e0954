"""The simulated machine's line to the watch: what of its samples arrives.

Owns silence, broken connections and garbled readings. The machine goes on meanwhile. Knows nothing of the machine
but its samples.
"""

from collections.abc import Iterable, Iterator
from typing import Final

from connectors.simulated_scenarios import Outage, Scenario
from connectors.telemetry import Event, LinkChange, Malformed, Sample, Tick

TICK_S: Final = 1.0
BROKE: Final = "simulated line: the connection broke; trying again"
BACK: Final = "simulated line: the machine answers again"
GARBLED: Final = "simulated line: a reading arrived garbled"


def through_link(scenario: Scenario, samples: Iterable[Sample]) -> Iterator[Event]:
    """Yield what the scenario's link lets through of `samples`, and the link's own events."""
    yield LinkChange(0.0, available=True, reason=_greeting(scenario))
    line = _Line(scenario)
    for sample in samples:
        yield from line.change(sample.time_s)
        yield from line.arriving(sample)


class _Line:
    def __init__(self, scenario: Scenario) -> None:
        self._outages, self._garbled_s = list(scenario.outages), list(scenario.garbled_s)
        self._outage: Outage | None = None  # the present one
        self._tick_due_s = 0.0

    def change(self, now_s: float) -> Iterator[LinkChange]:
        """End and begin outages."""
        outage = self._outage
        if outage is not None and now_s >= outage.start_s + outage.length_s:
            self._outage = None
            if outage.told:
                yield LinkChange(now_s, available=True, reason=BACK)
        if self._outage is None and self._outages and now_s >= self._outages[0].start_s:
            self._outage = self._outages.pop(0)
            self._tick_due_s = now_s
            if self._outage.told:
                yield LinkChange(now_s, available=False, reason=BROKE)

    def arriving(self, sample: Sample) -> Iterator[Event]:
        """Yield the sample, or what comes in its place."""
        now_s = sample.time_s
        if self._outage is not None:
            if now_s >= self._tick_due_s:
                self._tick_due_s = now_s + TICK_S
                yield Tick(now_s)
        elif self._garbled_s and now_s >= self._garbled_s[0]:
            self._garbled_s.pop(0)
            yield Malformed(now_s, GARBLED, _remains(sample))
        else:
            yield sample


def _remains(sample: Sample) -> str:
    """Half of a reading, as a bad wire leaves it."""
    text = f"{sample.values['temp_c:manifold']} {sample.values['temp_c:nozzle']}"
    return f"{text[: len(text) // 2]}#?"


def _greeting(scenario: Scenario) -> str:
    return f"simulated machine: {scenario.title}; invented build '{scenario.build}'"
