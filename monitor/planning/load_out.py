"""The load without a build: which materials can share a hot path, how hot it must be, how long each may stand.

Closed forms on a manifold that is held: a strand that stands at the merge point is at its wall's temperature, so its
dose grows evenly. Knows nothing of build files or words.
"""

import math
from dataclasses import dataclass
from itertools import combinations
from typing import Final, NamedTuple

import numpy as np

from monitor.core.dose import cautious_law, hopeful_law
from monitor.core.engine_state import Model, build_model
from monitor.core.hot_path import merge_sensors
from monitor.core.parameters import Parameters, Strand
from monitor.core.set_point import MARGIN_K
from monitor.core.span import Span
from monitor.planning.course import resting_c
from monitor.planning.settings import PlanSettings

_HOTTEST_C: Final = 500
_NO_RATE: Final = 1e-12
_LONGEST_S: Final = 1e9


class Bound(NamedTuple):
    """The hottest set point that something allows [°C], and what: a liner's zone, or a strand's input."""

    most_c: float
    liner: str | None = None
    input: int | None = None


class Idle(NamedTuple):
    """How long a strand may stand until its warn dose, and its limit: cautious to hopeful [s]."""

    input: int
    warn_s: Span
    limit_s: Span


@dataclass(frozen=True, slots=True)
class Sharing:
    """Some strands in one hot path.

    Parameters
    ----------
    inputs : tuple of int
        Which.
    set_c : float
        Lowest set point at which all of them can feed [°C].
    needed_by : int
        Input that needs it.
    bound : Bound
        What allows the least.
    idle : tuple of Idle
        Times of each at `set_c`; empty when they cannot share.
    """

    inputs: tuple[int, ...]
    set_c: float
    needed_by: int
    bound: Bound
    idle: tuple[Idle, ...]

    @property
    def works(self) -> bool:
        """Whether there is a set point for all."""
        return self.set_c <= self.bound.most_c

    @property
    def shortest_warn_s(self) -> float:
        """Until the first of them passes its warn dose, standing [s]."""
        return min(it.warn_s.low for it in self.idle)


@dataclass(frozen=True, slots=True)
class LoadOut:
    """What was found.

    Parameters
    ----------
    strands : tuple of Strand
        The load.
    all : Sharing
        All of them together.
    largest : Sharing
        The most of them that can share; `all` when they can.
    pairs : tuple of Sharing
        Every two.
    purge_mm : float
        Strand that fills the path from the merge point to the outlet [mm].
    """

    strands: tuple[Strand, ...]
    all: Sharing
    largest: Sharing | None
    pairs: tuple[Sharing, ...]
    purge_mm: float


def load_out(parameters: Parameters, settings: PlanSettings) -> LoadOut:
    """Check a load; needs a sensor that the wall at the merge point depends on."""
    path = _Path(parameters, settings)
    places = range(len(parameters.strands))
    together = path.sharing(tuple(places))
    return LoadOut(
        strands=parameters.strands,
        all=together,
        largest=together if together.works else path.largest(),
        pairs=tuple(path.sharing(pair) for pair in combinations(places, 2)),
        purge_mm=purge_mm(parameters),
    )


def purge_mm(parameters: Parameters) -> float:
    """Strand that fills the path from the merge point to the outlet [mm]: the volumes are equal."""
    after = parameters.zones[parameters.last_before_merge + 1 :]
    return sum(zone.length_mm * (zone.bore_mm / parameters.filament_diameter_mm) ** 2 for zone in after)


class _Path:
    """A hot path whose manifold can be held anywhere."""

    def __init__(self, parameters: Parameters, settings: PlanSettings) -> None:
        self._strands = parameters.strands
        self._model: Model = build_model(parameters)
        self._walls_c = np.array(
            [parameters.ambient_c, *(resting_c(it, parameters, settings) for it in parameters.sensors)]
        )
        merge = merge_sensors(parameters)
        self._merge = [place + 1 for place, name in enumerate(parameters.sensors) if name in merge]
        self._needs_c = [math.ceil(it.material.min_feed_c + MARGIN_K - 1e-9) for it in self._strands]
        self._liner = self._liner_bound()

    def _liner_bound(self) -> Bound:
        """The last whole degree at which no liner is past its first limit."""
        for set_c in range(_HOTTEST_C + 1):
            _, liners_c = self._at(set_c)
            for zone, liner_c, limits_c in zip(
                self._model.liner_zones, liners_c, self._model.liner_limits_c, strict=True
            ):
                if liner_c > limits_c[0]:
                    return Bound(set_c - 1.0, liner=self._model.parameters.zones[zone].name)
        return Bound(float(_HOTTEST_C))

    def _at(self, set_c: float) -> tuple[float, tuple[float, ...]]:
        """Hottest wall where a strand may stand, and of each liner, with the manifold held [°C]."""
        walls_c = self._walls_c.copy()
        walls_c[self._merge] = set_c
        facts = self._model.field.points.facts(walls_c)
        return facts.strand_c, tuple(facts.liners_c)

    def sharing(self, places: tuple[int, ...]) -> Sharing:
        """Some strands, by their places, in this path."""
        needed = max(places, key=self._needs_c.__getitem__)
        set_c = float(self._needs_c[needed])
        bound = min(self._bounds(places), key=lambda it: it.most_c)
        works = set_c <= bound.most_c
        idle = tuple(_idle(self._strands[place], self._at(set_c)[0]) for place in places) if works else ()
        inputs = tuple(self._strands[place].input for place in places)
        return Sharing(inputs, set_c, self._strands[needed].input, bound, idle)

    def _bounds(self, places: tuple[int, ...]) -> list[Bound]:
        own = [Bound(self._strands[at].material.ceiling_c, input=self._strands[at].input) for at in places]
        return [*own, self._liner]

    def largest(self) -> Sharing | None:
        """The most strands that one set point suits, the cooler the better; None when it suits not even one."""
        found = []
        for set_c in sorted(set(self._needs_c)):
            fits = tuple(
                place
                for place, strand in enumerate(self._strands)
                if self._needs_c[place] <= set_c <= min(strand.material.ceiling_c, self._liner.most_c)
            )
            if fits:
                found.append(self.sharing(fits))
        return max(found, key=lambda it: (len(it.inputs), -it.set_c), default=None)


def _idle(strand: Strand, temp_c: float) -> Idle:
    """Times of a strand that stands at this temperature."""
    at = np.array([[temp_c]])
    cautious = float(np.exp(cautious_law([strand]).log_rate(at))[0, 0])
    hopeful = float(np.exp(hopeful_law([strand]).log_rate(at))[0, 0])
    material = strand.material
    return Idle(
        strand.input,
        _span(material.warn_min / cautious, material.warn_min / max(hopeful, _NO_RATE)),
        _span(material.limit_min / cautious, material.limit_high_min / max(hopeful, _NO_RATE)),
    )


def _span(low_min: float, high_min: float) -> Span:
    low_s = min(low_min * 60.0, _LONGEST_S)
    return Span(low_s, min(max(low_s, high_min * 60.0), _LONGEST_S))
