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
CELL_MM: Final = 0.75  # aimed-at length of a parcel
_POINTS_PER_CELL: Final = 16  # λ and λ·T_wall are averaged over the parcel: jumps then cost O(dx²), not O(dx)
_CACHED_STEPS: Final = 480  # kept ready; some 60 kB each on a usual path
_CACHED_STACKS: Final = 24  # some 300 kB each
_SMALL: Final = 1e-6

Key = TypeVar("Key", bound=Hashable)
_Place = tuple[int, int]  # material, phase
_StepKey = tuple[int, int, float]  # material, phase, length of the step


@dataclass(frozen=True, slots=True)
class Lattice:
    """Parcels along the path: at sub-cell position `place` parcel i has its centre at (i + 1/2 + place) · cell_mm."""

    cells: int
    cell_mm: float

    def centres_mm(self, place: float) -> Array:
        """Centres of the parcels for a sub-cell position 0 ≤ place < 1 [mm]."""
        return (np.arange(self.cells, dtype=np.float64) + 0.5 + place) * self.cell_mm


def lattice(parameters: Parameters) -> Lattice:
    """Choose the lattice: about CELL_MM, a whole number of cells from the merge point to the cold end's far end."""
    cells = max(8, round(parameters.path_length_mm / CELL_MM))
    return Lattice(cells, parameters.path_length_mm / cells)


@dataclass(frozen=True, slots=True, eq=False)
class Modes:
    """Operator of one material at one phase: its modes, and what the wall vector drives."""

    rates_per_s: Array
    shapes: Array
    drive: Array  # (cells, walls)


class Cache(Generic[Key]):
    """The last few arrays that were asked for."""

    def __init__(self, size: int, build: Callable[[Key], Array]) -> None:
        self._size, self._build = size, build
        self._kept: OrderedDict[Key, Array] = OrderedDict()

    def get(self, key: Key) -> Array:
        """The array for `key`, built if it is not at hand; it must not be written to."""
        found = self._kept.get(key)
        if found is None:
            found = self._kept[key] = self._build(key)
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
        self._modes: dict[tuple[int, int], Modes] = {}
        self._steps: Cache[_StepKey] = Cache(_CACHED_STEPS, self._build_step)
        self._stacks: Cache[tuple[float, tuple[_Place, ...]]] = Cache(_CACHED_STACKS, self._build_stack)

    def step(self, material: int, phase: int, step_s: float) -> Array:
        """Matrix of shape (cells, cells + 2 · walls) for a step of `step_s` [s]."""
        return self._steps.get((material, phase, step_s))

    def stack(self, places: tuple[_Place, ...], step_s: float) -> Array:
        """Matrices of several (material, phase) places as one array, for strands that take the same step."""
        return self._stacks.get((step_s, places))

    def _build_step(self, key: _StepKey) -> Array:
        material, phase, step_s = key
        return step_matrix(self._mode(material, phase), step_s)

    def _build_stack(self, key: tuple[float, tuple[_Place, ...]]) -> Array:
        step_s, places = key
        return np.stack([self.step(material, phase, step_s) for material, phase in places])

    def _mode(self, material: int, phase: int) -> Modes:
        key = (material, phase)
        if key not in self._modes:
            place = (phase + 0.5) / PHASES
            self._modes[key] = _material_modes(self._parameters, self._grid, self._materials[material], place)
        return self._modes[key]


def step_matrix(modes: Modes, step_s: float) -> Array:
    """Exponential time step with walls linear in time: φ0, φ1, φ2 of the eigenvalues.

    Returns
    -------
    Array
        `[P | F0 | F1]`, shape (cells, cells + 2 · walls): T_after = P T + F0 walls_before + F1 walls_after.
    """
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


def _rebuild(modes: Modes, gains: Array) -> Array:
    product: Array = (modes.shapes * gains) @ modes.shapes.T
    return product


def conduction_modes(
    grid: Lattice, place: float, diffusivity_mm2_s: float, rate_per_s: Array, driven: Array, ends: Array
) -> Modes:
    """Modes of conduction along parcels that exchange heat with walls.

    Parameters
    ----------
    grid : Lattice
        The parcels; the strand is held at the faces x = 0 and x = (cells + 1) · cell_mm.
    place : float
        Sub-cell position of the parcels, 0 ≤ place < 1.
    diffusivity_mm2_s : float
        α [mm²/s].
    rate_per_s : Array
        Exchange rate λ of each parcel, shape (cells,) [1/s].
    driven : Array
        λ times the weights of the wall vector at each parcel, shape (cells, walls).
    ends : Array
        Weights of the wall vector at the two faces, shape (2, walls).
    """
    conduction = diffusivity_mm2_s / grid.cell_mm**2
    # the faces stay where they are while the parcels' centres move with `place`
    hot_side, cold_side = conduction / (0.5 + place), conduction / (1.5 - place)
    drive = driven.copy()
    drive[0] += hot_side * ends[0]
    drive[-1] += cold_side * ends[1]
    diagonal = -2 * conduction - rate_per_s
    diagonal[0] += conduction - hot_side
    diagonal[-1] += conduction - cold_side
    off = np.full(grid.cells - 1, conduction)
    rates, shapes = np.linalg.eigh(np.diag(diagonal) + np.diag(off, 1) + np.diag(off, -1))
    return Modes(rates, shapes, drive)


def _material_modes(parameters: Parameters, grid: Lattice, material: Material, place: float) -> Modes:
    rate_per_s, driven = _exchange_over_cells(parameters, grid, material, place)
    walls = wall_map(parameters)
    ends = walls.at(np.array([MERGE_MM, parameters.path_length_mm]))
    ends[1] = np.eye(len(ends[1]))[0]  # beyond the cold end it is ambient, which comes first in the wall vector
    return conduction_modes(grid, place, material.diffusivity_mm2_s, rate_per_s, driven, ends)


def _exchange_over_cells(
    parameters: Parameters, grid: Lattice, material: Material, place: float
) -> tuple[Array, Array]:
    """Mean λ [1/s] over each parcel, and mean of λ times the wall map."""
    spread = ((np.arange(_POINTS_PER_CELL) + 0.5) / _POINTS_PER_CELL - 0.5) * grid.cell_mm
    points_mm = (grid.centres_mm(place)[:, None] + spread).ravel()
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
