"""A strand on the move within one step: conduction in its own frame, and what its parcels age on the way.

Parcels keep the columns they had when the step began, and the path's window travels over them, so nothing is copied
from parcel to parcel. Knows one strand at a time and nothing of how doses are kept.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from monitor.core.assessment import Array
from monitor.core.dose import DoseLaw, log_mean
from monitor.core.field_state import BEFORE_PATH, FieldState
from monitor.core.parcels import middles, position, shares, substep_count
from monitor.core.propagator import Lattice


class Move(NamedTuple):
    """What is asked: how far within what time, and the walls when it is over; they run linearly."""

    strand: int
    moved_mm: float
    step_s: float
    merge_c: float  # wall at the merge point
    walls_c: Array


class Travel(NamedTuple):
    """What became of the strand."""

    strand: int
    shift: int  # by how many parcels it moved
    temp_c: Array  # of the parcels that are on the path now
    pad: int  # columns of `gained_min` before the first that was on the path
    gained_min: Array  # parcels in the columns they had when the step began


def travel(grid: Lattice, operator: Callable[[int, int], Array], law: DoseLaw, state: FieldState, move: Move) -> Travel:
    """Move a strand.

    Parameters
    ----------
    operator : Callable[[int, int], Array]
        The step matrix of its material for a phase and a number of substeps.
    """
    strand, moved_mm, step_s, merge_c, walls_c = move
    cells, start_mm, first = grid.cells, state.fed_mm[strand], state.places[strand].shift
    shift = position(start_mm + moved_mm, grid.cell_mm).shift - first
    pad, substeps = abs(shift) + 1, substep_count(abs(moved_mm) / grid.cell_mm)
    share = shares(substeps)
    walls = state.walls_c + share * (walls_c - state.walls_c)
    rows = np.empty((substeps + 1, cells + 2 * pad))
    middle = pad + cells // 2
    rows[:, :middle] = state.walls.merge_c + share * (merge_c - state.walls.merge_c)
    rows[:, middle:] = walls[:, :1]
    rows[0, pad : pad + cells] = state.temp_c[strand, BEFORE_PATH:]
    known = np.empty((substeps, cells + 2 * walls.shape[1]))
    known[:, cells:] = np.concatenate([walls[:-1], walls[1:]], axis=1)
    way = middles(start_mm, moved_mm, substeps, grid.cell_mm)
    steps = {phase: operator(phase, substeps) for phase in {phase for _, phase in way}}
    for substep, (gone, phase) in enumerate(way):
        low, row = pad + gone - first, known[substep]
        row[:cells] = rows[substep, low : low + cells]
        steps[phase].dot(row, rows[substep + 1, low : low + cells])
    temp_c = rows[-1, pad + shift : pad + shift + cells]
    return Travel(strand, shift, temp_c, pad, _aged_min(law, rows, step_s))


def _aged_min(law: DoseLaw, rows: Array, step_s: float) -> Array:
    """What parcels age from row to row [min]."""
    log_rate = law.log_rate(rows)
    rate = np.exp(log_rate)
    aged: Array = log_mean(log_rate[1:] - log_rate[:-1], rate[:-1], rate[1:]).sum(axis=0)
    aged *= step_s / (len(rows) - 1) / 60.0
    return aged
