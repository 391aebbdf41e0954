"""Makes the field of one machine and its load: the one place that knows all its parts."""

import math
from typing import Final

from monitor.core.dose import cautious_law
from monitor.core.field import Field
from monitor.core.hot_path import watched_liners
from monitor.core.parameters import Parameters
from monitor.core.propagator import Propagators, lattice
from monitor.core.stiff_part import stiff_part
from monitor.core.wall_points import wall_points

_WITHDRAWN_MM: Final = 200.0  # strand withdrawn no further than this upstream of the path keeps its dose
_PASSED_MM: Final = 40.0  # so does what was fed past the merge point no further than this, and is retracted


def build_field(parameters: Parameters) -> Field:
    """Prepare the model for one machine and its load."""
    grid, strands = lattice(parameters), parameters.strands
    law = cautious_law(strands)
    materials = tuple(dict.fromkeys(strand.material for strand in strands))
    return Field(
        strands=strands,
        kinds=tuple(materials.index(strand.material) for strand in strands),
        grid=grid,
        propagators=Propagators(parameters, grid, materials),
        law=law,
        laws=tuple(law.of(strand) for strand in range(len(strands))),
        points=wall_points(parameters, watched_liners(parameters)),
        stiff=stiff_part(parameters, grid, strands),
        passed=math.ceil(_PASSED_MM / grid.cell_mm),
        withdrawn=math.ceil(_WITHDRAWN_MM / grid.cell_mm),
    )
