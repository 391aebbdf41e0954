"""Temperatures of the walls at the places the engine looks at, all of them by one product per step.

Between the nodes of the wall map a wall is linear, so the hottest point of a stretch is one of its nodes or ends. Knows
nothing of strands beyond where they may stand and where they must be stiff.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from monitor.core.assessment import Array
from monitor.core.hot_path import MERGE_MM, WallMap, stiff_from_mm, wall_map, zone_places
from monitor.core.parameters import Parameters


class WallFacts(NamedTuple):
    """What the walls are at one moment [°C]."""

    merge_c: float  # at the merge point, just upstream of it
    strand_c: float  # hottest upstream of the merge point, where a strand may stand
    cold_side_c: float  # hottest where strands must be stiff
    shared_c: float  # hottest from the merge point to the nozzle's end
    liners_c: tuple[float, ...]  # hottest of each zone whose liner is watched


@dataclass(frozen=True, slots=True, eq=False)
class WallPoints:
    """Rows of the wall map at those places, group by group; `ends` tells where each group ends."""

    rows: Array
    ends: tuple[int, ...]

    @property
    def sensors(self) -> tuple[int, ...]:
        """Sensors that walls at and upstream of the merge point depend on, by their place in the wall vector."""
        return self._sensors(self.ends[0], self.ends[1])

    @property
    def merge_sensors(self) -> tuple[int, ...]:
        """Sensors that the wall at the merge point depends on."""
        return self._sensors(0, self.ends[0])

    def _sensors(self, low: int, high: int) -> tuple[int, ...]:
        return tuple(np.flatnonzero(self.rows[low:high, 1:].any(axis=0)).tolist())

    def facts(self, walls_c: Array) -> WallFacts:
        """Look at the walls; `walls_c` is the wall vector, ambient first."""
        at_c = (self.rows @ walls_c).tolist()
        merge_c, strand_c, cold_side_c, shared_c, *liners_c = [
            max(at_c[low:high]) for low, high in pairwise((0, *self.ends))
        ]
        return WallFacts(merge_c, strand_c, cold_side_c, shared_c, tuple(liners_c))


def wall_points(parameters: Parameters, liner_zones: tuple[int, ...]) -> WallPoints:
    """Prepare the places for one machine; `liner_zones` are the indexes of the zones whose liner is watched."""
    walls, places = wall_map(parameters), zone_places(parameters)
    length_mm, stiff_mm, outlet_mm = parameters.path_length_mm, stiff_from_mm(parameters), places[-1].hot_end_mm
    groups = [
        walls.at(np.array([MERGE_MM])),
        walls.at(_points(walls, MERGE_MM, length_mm)),
        _cold_side(walls, stiff_mm, length_mm),
        walls.at(_points(walls, outlet_mm, -MERGE_MM if outlet_mm < 0 else 0.0)),
        *(walls.at(_points(walls, places[index].hot_end_mm, places[index].cold_end_mm)) for index in liner_zones),
    ]
    return WallPoints(np.concatenate(groups), tuple(np.cumsum([len(group) for group in groups]).tolist()))


def _cold_side(walls: WallMap, stiff_mm: float, length_mm: float) -> Array:
    """Rows where strands must be stiff; beyond the path's end, where it is ambient, if that is nowhere on it."""
    if stiff_mm < length_mm:
        return walls.at(_points(walls, stiff_mm + MERGE_MM, length_mm))
    return np.eye(walls.weights.shape[1])[:1]


def _points(walls: WallMap, low_mm: float, high_mm: float) -> Array:
    """Ends of a stretch and the wall map's nodes inside it."""
    inside = walls.nodes_mm[(walls.nodes_mm > low_mm) & (walls.nodes_mm < high_mm)]
    return np.concatenate([[low_mm], inside, [high_mm]])
