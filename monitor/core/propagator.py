"""Exact conduction along one strand: a dense propagator per material, sub-cell position and step length.

dT/dt = α T'' + λ(x) (T_wall(x, t) - T), cell-centred, strand held at the wall's temperature at the merge point and at
ambient beyond the cold end; the wall runs linearly within a step. The only error is that of the grid, O(dx²).
Method and checks: heat_model.md beside this file.
"""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import Final, Generic, TypeVar

import numpy as np

from monitor.core.assessment import Array
from monitor.core.exchange import exchange_rate_per_s
from monitor.core.hot_path import MERGE_MM, wall_map
from monitor.core.parameters import Material, Parameters

PHASES: Final = 8  # sub-cell positions of the parcels for which operators are built
CELL_MM: Final = 0.65  # aimed-at length of a parcel
_POINTS_PER_CELL: Final = 16  # λ and λ·T_wall are averaged over the parcel: jumps then cost O(dx²), not O(dx)
_CACHED_STEPS: Final = 400  # kept ready; some 60 kB each on a usual path
_CACHED_STACKS: Final = 24  # some 300 kB each
_SMALL: Final = 1e-6

Key = TypeVar("Key", bound=Hashable)


@dataclass(frozen=True, slots=True)
class Lattice:
    """Parcels along the path: parcel i of a strand at sub-cell position s has its centre at (i + 1/2 + s)·cell_mm."""

    cells: int
    cell_mm: float

    def centres_mm(self, position: float) -> Array:
        """Centres of the parcels for a sub-cell position 0 ≤ s < 1 [mm]."""
        return (np.arange(self.cells, dtype=np.float64) + 0.5 + position) * self.cell_mm


def lattice(parameters: Parameters) -> Lattice:
    """Choose the lattice: about CELL_MM, a whole number of cells from the merge point to the cold end's far end."""
    cells = max(8, round(parameters.path_length_mm / CELL_MM))
    return Lattice(cells, parameters.path_length_mm / cells)


@dataclass(frozen=True, slots=True, eq=False)
class _Modes:
    """Operator of one material at one phase: its modes, and what the wall vector drives."""

    rates_per_s: Array
    shapes: Array
    drive: Array  # (cells, walls)


class Cache(Generic[Key]):
    """The last few arrays that were asked for."""

    def __init__(self, size: int) -> None:
        self._size = size
        self._kept: OrderedDict[Key, Array] = OrderedDict()

    def get(self, key: Key, build: Callable[[], Array]) -> Array:
        """The array for `key`, built if it is not at hand; it must not be written to."""
        found = self._kept.get(key)
        if found is None:
            found = build()
            self._kept[key] = found
            if len(self._kept) > self._size:
                self._kept.popitem(last=False)
        return found


class Propagators:
    """Steps `[P | F0 | F1]` with T_after = P T + F0 walls_before + F1 walls_after, built when first needed.

    Materials are named by their place in `materials`. The caches change only how long an answer takes, never the
    answer.
    """

    def __init__(self, parameters: Parameters, grid: Lattice, materials: tuple[Material, ...]) -> None:
        self._parameters, self._grid, self._materials = parameters, grid, materials
        self._modes: dict[tuple[int, int], _Modes] = {}
        self._steps: Cache[tuple[int, int, float]] = Cache(_CACHED_STEPS)
        self._stacks: Cache[tuple[float, tuple[tuple[int, int], ...]]] = Cache(_CACHED_STACKS)

    def step(self, material: int, phase: int, step_s: float) -> Array:
        """Matrix of shape (cells, cells + 2 · walls) for a step of `step_s` [s]."""
        return self._steps.get((material, phase, step_s), lambda: _step_matrix(self._mode(material, phase), step_s))

    def stack(self, places: tuple[tuple[int, int], ...], step_s: float) -> Array:
        """Matrices of several (material, phase) places as one array, for strands that take the same step."""
        return self._stacks.get(
            (step_s, places), lambda: np.stack([self.step(material, phase, step_s) for material, phase in places])
        )

    def _mode(self, material: int, phase: int) -> _Modes:
        key = (material, phase)
        if key not in self._modes:
            position = (phase + 0.5) / PHASES
            self._modes[key] = _build_modes(self._parameters, self._grid, self._materials[material], position)
        return self._modes[key]


def _step_matrix(modes: _Modes, step_s: float) -> Array:
    """Exponential time step with input linear in time: φ0, φ1, φ2 of the eigenvalues."""
    z = modes.rates_per_s * step_s
    flat = np.abs(z) < _SMALL
    safe = np.where(flat, 1.0, z)
    phi1 = np.where(flat, 1 + z / 2, np.expm1(safe) / safe)
    phi2 = np.where(flat, 0.5 + z / 6, (np.expm1(safe) - safe) / safe**2)
    before = _rebuild(modes, step_s * (phi1 - phi2)) @ modes.drive
    after = _rebuild(modes, step_s * phi2) @ modes.drive
    matrix = np.ascontiguousarray(np.hstack([_rebuild(modes, np.exp(z)), before, after]))
    matrix.setflags(write=False)
    return matrix


def _rebuild(modes: _Modes, gains: Array) -> Array:
    product: Array = (modes.shapes * gains) @ modes.shapes.T
    return product


def _build_modes(parameters: Parameters, grid: Lattice, material: Material, position: float) -> _Modes:
    conduction = material.diffusivity_mm2_s / grid.cell_mm**2
    rate, driven = _exchange_over_cells(parameters, grid, material, position)
    # the faces stay at x = 0 and one cell beyond the path's end, while the parcels' centres move with `position`
    hot_side, cold_side = conduction / (0.5 + position), conduction / (1.5 - position)
    walls = wall_map(parameters)
    driven[0] += hot_side * walls.at(np.array([MERGE_MM]))[0]
    driven[-1, 0] += cold_side  # ambient comes first in the wall vector
    diagonal = -2 * conduction - rate
    diagonal[0] += conduction - hot_side
    diagonal[-1] += conduction - cold_side
    off = np.full(grid.cells - 1, conduction)
    rates, shapes = np.linalg.eigh(np.diag(diagonal) + np.diag(off, 1) + np.diag(off, -1))
    return _Modes(rates, shapes, driven)


def _exchange_over_cells(
    parameters: Parameters, grid: Lattice, material: Material, position: float
) -> tuple[Array, Array]:
    """Mean λ [1/s] over each parcel, and mean of λ times the wall map."""
    spread = ((np.arange(_POINTS_PER_CELL) + 0.5) / _POINTS_PER_CELL - 0.5) * grid.cell_mm
    points_mm = (grid.centres_mm(position)[:, None] + spread).ravel()
    rate = _rate_at(parameters, material, points_mm)
    weights = wall_map(parameters).at(points_mm)
    beyond = points_mm > parameters.path_length_mm
    weights[beyond] = 0.0
    weights[beyond, 0] = 1.0  # upstream of the cold end the strand runs at ambient
    by_cell = (grid.cells, _POINTS_PER_CELL)
    return rate.reshape(by_cell).mean(1), (rate[:, None] * weights).reshape(*by_cell, -1).mean(1)


def _rate_at(parameters: Parameters, material: Material, points_mm: Array) -> Array:
    zones = parameters.zones[: parameters.last_before_merge + 1][::-1]  # from the merge point upstream
    ends_mm = np.cumsum([zone.length_mm for zone in zones])
    rates = np.array([exchange_rate_per_s(zone, parameters.filament_diameter_mm, material) for zone in zones])
    index = np.minimum(np.searchsorted(ends_mm, points_mm, side="right"), len(zones) - 1)
    picked: Array = rates[index]
    return picked
