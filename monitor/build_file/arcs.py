"""Arcs: how long they are, which way they begin and end, how tight they are.

Owns the geometry of G2 and G3 (RS274/NGC 3.5.3): a centre by I, J, K or a radius by R, in the plane of G17, G18 or G19;
the third axis makes a helix. An arc that ends where it starts and has a centre is a full circle.
"""

from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from monitor.build_file.words import Floats, Ints

_SAME_MM: Final = 1e-6
_OFF_CIRCLE: Final = 0.01
_OFF_CIRCLE_MM: Final = 0.05
_PLANES: Final = {17: (0, 1, 2), 18: (2, 0, 1), 19: (1, 2, 0)}


class Arcs(NamedTuple):
    """Some arcs.

    Parameters
    ----------
    length_mm : array of float
        Along the helix [mm].
    start, end : array of float, shape (n, 3)
        Unit vectors along the path where it begins and ends.
    radius_mm : array of float
        In the plane [mm].
    is_off : array of bool
        The end is not on the circle about the centre, or the radius is too small to reach it.
    """

    length_mm: Floats
    start: Floats
    end: Floats
    radius_mm: Floats
    is_off: npt.NDArray[np.bool_]


def arcs(steps_mm: Floats, centre_mm: Floats, radius_mm: Floats, clockwise: npt.NDArray[np.bool_], plane: Ints) -> Arcs:
    """Measure arcs.

    Parameters
    ----------
    steps_mm : array of float, shape (n, 3)
        From start to end [mm].
    centre_mm : array of float, shape (n, 3)
        From the start to the centre; not used where a radius is given [mm].
    radius_mm : array of float
        R word, negative for the longer way round; NaN without [mm].
    clockwise : array of bool
        G2.
    plane : array of int
        17, 18 or 19.
    """
    axes = np.array([_PLANES.get(int(number), _PLANES[17]) for number in plane]).reshape(-1, 3)
    rows = np.arange(len(steps_mm))
    first, second, third = (steps_mm[rows, axes[:, place]] for place in range(3))
    turn = np.where(clockwise, -1.0, 1.0)
    by_radius = ~np.isnan(radius_mm)
    of_radius, misses = _centre_of_radius(first, second, np.where(by_radius, radius_mm, 1.0), turn)
    i = np.where(by_radius, of_radius[0], centre_mm[rows, axes[:, 0]])
    j = np.where(by_radius, of_radius[1], centre_mm[rows, axes[:, 1]])
    start_radius, end_radius = np.hypot(i, j), np.hypot(first - i, second - j)
    sweep = np.mod(turn * (np.arctan2(second - j, first - i) - np.arctan2(-j, -i)), 2 * np.pi)
    is_round = np.hypot(first, second) < _SAME_MM
    sweep = np.where(is_round, np.where(by_radius, 0.0, 2 * np.pi), sweep)
    flat = sweep * (start_radius + end_radius) / 2
    length = np.hypot(flat, third)
    start = _tangent(-i, -j, turn, flat, third)
    end = _tangent(first - i, second - j, turn, flat, third)
    gap = np.abs(end_radius - start_radius)
    is_off = (gap > np.maximum(_OFF_CIRCLE_MM, _OFF_CIRCLE * start_radius)) | (by_radius & (misses | is_round))
    return Arcs(length, _in_space(start, axes), _in_space(end, axes), start_radius, is_off)


def _centre_of_radius(
    first: Floats, second: Floats, radius_mm: Floats, turn: Floats
) -> tuple[tuple[Floats, Floats], npt.NDArray[np.bool_]]:
    """Centre from the start for a signed radius; where it is too small, the middle of the chord."""
    chord = np.maximum(np.hypot(first, second), _SAME_MM)
    height2 = radius_mm**2 - chord**2 / 4
    height = np.sqrt(np.maximum(height2, 0.0)) * np.where(radius_mm < 0, -1.0, 1.0) * turn
    misses = height2 < -_OFF_CIRCLE_MM * chord
    return (first / 2 - second / chord * height, second / 2 + first / chord * height), misses


def _tangent(x: Floats, y: Floats, turn: Floats, flat: Floats, third: Floats) -> Floats:
    """Unit vector along the path at a place given from the centre."""
    radius = np.maximum(np.hypot(x, y), _SAME_MM)
    length = np.maximum(np.hypot(flat, third), _SAME_MM)
    return np.stack([-turn * y / radius * flat / length, turn * x / radius * flat / length, third / length], axis=1)


def _in_space(vectors: Floats, axes: Ints) -> Floats:
    found = np.empty_like(vectors)
    np.put_along_axis(found, axes, vectors, axis=1)
    return found
