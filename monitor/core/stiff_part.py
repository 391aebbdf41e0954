"""Softening dose of the part of a strand that must be a stiff piston: which parcels, and what they gain in a step.

Owns where that part begins on the lattice. Knows nothing of how doses are carried along; see field.py.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.core.assessment import Array
from monitor.core.hot_path import stiff_from_mm, wall_map
from monitor.core.parameters import Parameters, Strand
from monitor.core.propagator import Lattice
from monitor.core.softening import softening_rate


@dataclass(frozen=True, slots=True, eq=False)
class StiffPart:
    """Parcels of the path from `first` on, and their walls."""

    first: int
    weights: Array  # of the wall vector at these parcels, shape (cells - first, walls)
    glass_c: Array  # of each strand, as a column
    lowest_glass_c: float

    def gained_min(
        self, walls_c: tuple[Array, Array], before_c: Array, after_c: Array, stood: Array, step_s: float
    ) -> Array:
        """Softening dose of these parcels in a step [min], shape (strands, cells - first).

        By the mean of the rates before and after for strands that `stood`, else by the rate after. A parcel counts as
        no hotter than its wall: what a retraction brings up hot sets again within seconds if the wall is cool.
        """
        wall_before_c, wall_after_c = (self.weights @ wall for wall in walls_c)
        after = softening_rate(np.minimum(after_c[:, self.first :], wall_after_c), self.glass_c)
        before = softening_rate(np.minimum(before_c[:, self.first :], wall_before_c), self.glass_c)
        gained: Array = np.where(stood[:, None], (before + after) / 2, after) * (step_s / 60.0)
        return gained


def stiff_part(parameters: Parameters, grid: Lattice, strands: Sequence[Strand]) -> StiffPart:
    """Prepare the part for one machine and some of its strands."""
    first = min(grid.cells, math.ceil(stiff_from_mm(parameters) / grid.cell_mm - 0.5))
    x_mm: Array = (np.arange(first, grid.cells, dtype=np.float64) + 0.5) * grid.cell_mm
    glass_c = [strand.material.glass_c for strand in strands]
    return StiffPart(first, wall_map(parameters).at(x_mm), np.array(glass_c)[:, None], min(glass_c))
