"""Geometry of the hot path: where the zones lie, and the wall temperature anywhere as a linear map of the sensors.

x runs in mm upstream from the merge point; zones beyond it have negative x. The wall vector is `[ambient, sensor 1,
sensor 2, …]` in °C, sensors in the order of `Parameters.sensors`. Knows nothing of strands or time.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from monitor.core.assessment import Array, ZonePlace
from monitor.core.parameters import Parameters, WallLaw, Zone

MERGE_MM: Final = 1e-6
"""Just upstream of the merge point: at x = 0 itself the wall may jump from one zone to the next."""


def zone_places(parameters: Parameters) -> tuple[ZonePlace, ...]:
    """Place of every zone, in flow order."""
    places = []
    cold_end_mm = parameters.path_length_mm
    for zone in parameters.zones:
        hot_end_mm = cold_end_mm - zone.length_mm
        places.append(ZonePlace(zone.name, hot_end_mm, cold_end_mm, zone.sensor, zone.liner))
        cold_end_mm = hot_end_mm
    return tuple(places)


def stiff_from_mm(parameters: Parameters) -> float:
    """Place upstream of which a strand must be a stiff piston: where the first bridge or wetted zone begins [mm]."""
    for zone, place in zip(parameters.zones, zone_places(parameters), strict=True):
        if zone.law is WallLaw.BRIDGE or zone.wetted:
            return place.cold_end_mm
    return zone_places(parameters)[0].hot_end_mm


def merge_sensors(parameters: Parameters) -> tuple[str, ...]:
    """Names of the sensors that the wall at the merge point depends on."""
    weights = wall_map(parameters).at(np.array([MERGE_MM]))[0, 1:]
    return tuple(name for name, weight in zip(parameters.sensors, weights, strict=True) if weight > 0.0)


def watched_liners(parameters: Parameters) -> tuple[int, ...]:
    """Indexes of the zones whose liner has known limits, in flow order."""
    return tuple(index for index, zone in enumerate(parameters.zones) if zone.liner in parameters.liners)


@dataclass(frozen=True, slots=True, eq=False)
class WallMap:
    """Wall temperature along the path: piecewise linear in x and linear in the wall vector.

    `nodes_mm` rise; row i of `weights` gives the wall temperature at node i from the wall vector.
    """

    nodes_mm: Array
    weights: Array

    def at(self, x_mm: Array) -> Array:
        """Weights of the wall vector at the points `x_mm`, shape (points, walls)."""
        return np.stack([np.interp(x_mm, self.nodes_mm, column) for column in self.weights.T], axis=1)


def wall_map(parameters: Parameters) -> WallMap:
    """Build the wall map: zones with a sensor or at ambient are uniform, bridges linear between their neighbours."""
    columns = {sensor: index + 1 for index, sensor in enumerate(parameters.sensors)}
    nodes_mm: list[float] = []
    weights: list[Array] = []
    for zone, place in zip(parameters.zones, zone_places(parameters), strict=True):
        if zone.law is not WallLaw.BRIDGE:
            # flow order is falling x: the cold end comes first
            nodes_mm += [place.cold_end_mm, place.hot_end_mm]
            weights += [_unit(zone, columns)] * 2
    return WallMap(np.array(nodes_mm[::-1]), np.array(weights[::-1]))


def _unit(zone: Zone, columns: dict[str, int]) -> Array:
    row = np.zeros(len(columns) + 1)
    row[0 if zone.sensor is None else columns[zone.sensor]] = 1.0
    return row
