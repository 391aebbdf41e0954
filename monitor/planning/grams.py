"""What strand weighs."""

import math
from collections.abc import Iterable

from monitor.core.parameters import Parameters, Strand
from monitor.planning.course import Advance


def gram_per_mm(strand: Strand, diameter_mm: float) -> float:
    """Mass of a millimetre of strand [g/mm]."""
    return math.pi / 4 * diameter_mm**2 * strand.material.density_kg_m3 * 1e-6


def grams_of(parameters: Parameters, advances: Iterable[Advance]) -> float:
    """Mass of what is fed into waste [g]."""
    by_input = {strand.input: gram_per_mm(strand, parameters.filament_diameter_mm) for strand in parameters.strands}
    return sum(by_input[advance.input] * advance.length_mm for advance in advances)
