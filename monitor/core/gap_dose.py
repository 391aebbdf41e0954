"""What a strand may have aged that moved in a gap in the data: it may have moved at once, and stood hot ever since.

The field lets it move at the gap's end, which is the hopeful end of the range; here the other end is added, kept apart
as what is not sure.
"""

from collections.abc import Sequence

import numpy as np

from monitor.core.assessment import Array
from monitor.core.field import Field
from monitor.core.field_state import BEFORE_PATH, FieldState, frozen


def stood_meanwhile(field: Field, state: FieldState, rate: Array, gaps_s: Sequence[float]) -> FieldState:
    """State in which all that is there now may have stood where it is for so long already.

    Parameters
    ----------
    rate : Array
        Growth of the dose at each place while strands stood, shaped as `FieldState.rate` [min per min].
    gaps_s : Sequence[float]
        For each strand how long ago it may have moved; 0 where that is known [s].

    Returns
    -------
    FieldState
        Doses no lower than before; what is above the sure part is in `unsure_min`.
    """
    gained_min = rate * (np.array(gaps_s)[:, None] / 60.0)
    sure_min = state.dose_min if state.unsure_min is None else state.dose_min - state.unsure_min
    high_min, path = sure_min.copy(), slice(field.passed, field.passed + field.grid.cells)
    high_min[:, path] += gained_min[:, BEFORE_PATH:]
    high_min[:, : field.passed] += gained_min[:, BEFORE_PATH - 1 : BEFORE_PATH]
    dose_min = np.maximum(state.dose_min, high_min)
    return frozen(state._replace(dose_min=dose_min, unsure_min=dose_min - sure_min))
