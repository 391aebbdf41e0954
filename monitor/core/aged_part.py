"""How much strand must go by until what has aged, or has stood soft, is past the merge point.

Lengths from the ledger of one moment; knows nothing of words or alerts.
"""

import math

import numpy as np

from monitor.core.assessment import Array
from monitor.core.field import Field
from monitor.core.field_state import FieldState


def aged_mm(field: Field, state: FieldState, strand: int, above_min: float) -> float:
    """Feed after which no material of the strand upstream of the merge point has more dose than `above_min` [mm].

    Material that was withdrawn beyond the path counts, as far as its dose is kept.

    Parameters
    ----------
    strand : int
        Place among the field's strands.
    above_min : float
        Degradation dose [min at the material's reference temperature].
    """
    return _reach_mm(field, state, strand, state.dose_min[strand], above_min)


def softened_mm(field: Field, state: FieldState, strand: int, above_min: float) -> float:
    """The same for the softening dose, taken where the strand must be stiff [mm]."""
    if state.soft_min is None:
        return 0.0
    return _reach_mm(field, state, strand, state.soft_min[strand], above_min, field.stiff.first)


def whole_mm(length_mm: float) -> float:
    """Next whole millimetre: nobody types less.

    >>> whole_mm(17.25), whole_mm(18.000000001)
    (18.0, 18.0)
    """
    return float(math.ceil(length_mm - 1e-6))


def _reach_mm(field: Field, state: FieldState, strand: int, row: Array, above_min: float, first: int = 0) -> float:
    over = np.flatnonzero(row[field.passed + first :] > above_min)
    if len(over) == 0:
        return 0.0
    # the upstream end of the last parcel that is over
    return float(first + over[-1] + 1 + state.places[strand].remainder) * field.grid.cell_mm
