"""Bookkeeping of parcels: where a strand stands on the lattice, and how its rows are renumbered when it moves."""

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Final, NamedTuple, TypeVar

import numpy as np

from monitor.core.assessment import Array
from monitor.core.propagator import PHASES

_SUBSTEPS: Final = (1, 2, 4, 6, 8, 12, 16, 20, 24, 32, 48)


class Position(NamedTuple):
    """Where a strand stands on the lattice: `shift` whole parcels fed, `remainder` in [0, 1) of a cell still to go."""

    shift: int
    remainder: float
    phase: int  # which of the ready-made operators fits


def position(fed_mm: float, cell_mm: float) -> Position:
    """Lattice position after `fed_mm` of feed in all.

    It depends on the sum alone, so no sequence of small moves can drift.

    >>> position(0.0, 0.5), position(0.75, 0.5)
    (Position(shift=0, remainder=0.0, phase=0), Position(shift=2, remainder=0.5, phase=4))
    """
    cells = fed_mm / cell_mm
    shift = math.ceil(cells)
    remainder = shift - cells
    return Position(shift, remainder, min(PHASES - 1, int(remainder * PHASES)))


def middles(start_mm: float, moved_mm: float, substeps: int, cell_mm: float) -> list[tuple[int, int]]:
    """Shift and phase in the middle of each substep of a move; as `position` has them, at half its cost.

    >>> middles(0.0, 1.5, 2, 0.5) == [position(0.375, 0.5)[::2], position(1.125, 0.5)[::2]]
    True
    """
    found = []
    for substep in range(substeps):
        cells = (start_mm + moved_mm * (substep + 0.5) / substeps) / cell_mm
        shift = math.ceil(cells)
        found.append((shift, min(PHASES - 1, int((shift - cells) * PHASES))))
    return found


def substep_count(cells: float) -> int:
    """How many substeps for a move of so many cells: at most one cell each, and few different numbers.

    Each number needs operators of its own; with any number allowed, they would be built over and over.
    """
    return next((number for number in _SUBSTEPS if number >= cells), math.ceil(cells))


def renumber(row: Array, shift: int) -> None:
    """Let `shift` parcels go by, in place; what enters from outside takes the value at the edge it came over."""
    if shift > 0:
        row[:-shift], row[-shift:] = row[shift:], row[-1]
    elif shift < 0:
        row[-shift:], row[:-shift] = row[:shift], row[0]


Rows = TypeVar("Rows", Array, Array | None)


def renumbered(rows: Rows, shifts: Sequence[int]) -> Rows:
    """Rows of several strands after each has moved by so many parcels; the same rows where none has."""
    if rows is None or not any(shifts):
        return rows
    rows = rows.copy()
    for row, shift in zip(rows, shifts, strict=True):
        renumber(row, shift)
    return rows


@lru_cache(maxsize=64)
def shares(substeps: int) -> Array:
    """How much of a step is over after each of its substeps, 0 to 1, as a column."""
    return np.linspace(0.0, 1.0, substeps + 1)[:, None]
