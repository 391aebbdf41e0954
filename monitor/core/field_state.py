"""State of all strands at one moment: plain, read-only data that field.py carries from step to step."""

from typing import Final, NamedTuple

from monitor.core.assessment import Array
from monitor.core.parcels import Position
from monitor.core.wall_points import WallFacts

BEFORE_PATH: Final = 2


class FieldState(NamedTuple):
    """All strands at one moment; rows are strands, arrays read-only.

    `temp_c` and the rates begin with `BEFORE_PATH` columns for what is past the merge point: at the hottest wall of the
    shared channel, and at the merge point's wall; then come the parcels of the path, upstream. The doses reach further
    at both ends, so that material withdrawn or just fed past the merge point keeps its dose. A dose of which there is
    none anywhere is None: on a healthy machine there is nothing to carry along.
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
    arrays = (state.walls_c, state.temp_c, state.log_rate, state.rate, state.dose_min)
    for array in arrays if state.unsure_min is None else (*arrays, state.unsure_min):
        array.setflags(write=False)
    if state.soft_min is not None:
        state.soft_min.setflags(write=False)
    return state
