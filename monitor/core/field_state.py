"""State of all strands at one moment: plain, read-only data that field.py carries from step to step."""

from typing import NamedTuple

import numpy as np

from monitor.core.assessment import Array
from monitor.core.parcels import Position
from monitor.core.wall_points import WallFacts


class FieldState(NamedTuple):
    """All strands at one moment; rows are strands, arrays read-only.

    In `temp_c` and the rates the first column is what has just passed the merge point, at that wall; then come the
    parcels of the path, upstream. The doses reach further at both ends, so that material withdrawn or just fed past the
    merge point keeps its dose. A dose of which there is none anywhere is None: on a healthy machine there is nothing to
    carry along.
    """

    walls_c: Array  # [ambient, sensors …]
    walls: WallFacts
    fed_mm: tuple[float, ...]
    high_mm: tuple[float, ...]  # highest that `fed_mm` ever was: beyond it material is new
    places: tuple[Position, ...]  # what `fed_mm` means on the lattice
    temp_c: Array
    log_rate: Array  # of the dose, needed again at the start of the next step; and its exponential
    rate: Array
    dose_min: Array
    unsure_min: Array | None = None  # the part of `dose_min` that was gained while nobody knew the walls
    soft_min: Array | None = None  # softening dose; grows only where the strand must be stiff


def frozen(state: FieldState) -> FieldState:
    """The same state, its arrays made read-only."""
    for part in state:
        if isinstance(part, np.ndarray):
            part.setflags(write=False)
    return state
