"""Degradation dose: equivalent minutes at the material's reference temperature, by a two-sided Arrhenius law.

A low activation energy below the reference temperature and a high one above it both make the estimate cautious.
Constants: R = 8.314462618 J/(mol K) (CODATA), 0 °C = 273.15 K.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from monitor.core.assessment import Array
from monitor.core.parameters import Material, Strand

GAS_CONSTANT_J_MOL_K: Final = 8.314462618
ZERO_C_K: Final = 273.15
_HARDLY: Final = 1e-4  # change of ln(rate) below which the plain mean is better than the logarithmic one


@dataclass(frozen=True, slots=True, eq=False)
class DoseLaw:
    """ln(rate) of a row of strands, each with its own material; shapes (strands, 1).

    rate = wet factor · exp(-Ea/R · (1/T - 1/T_ref)), in minutes at T_ref per minute.
    """

    inverse_reference_per_k: Array
    below_k: Array  # Ea/R below the reference temperature
    above_k: Array
    log_factor: Array

    def log_rate(self, temp_c: Array) -> Array:
        """ln(rate) at `temp_c`, shape (strands, cells) or anything that broadcasts against (strands, 1)."""
        # in place, because this is one of the busiest lines of the engine
        lag_per_k: Array = temp_c + ZERO_C_K
        np.reciprocal(lag_per_k, out=lag_per_k)
        np.subtract(self.inverse_reference_per_k, lag_per_k, out=lag_per_k)  # above zero when hotter than T_ref
        # both products have the sign of the lag; the larger one is below·lag when cold, above·lag when hot
        log_rate: Array = self.below_k * lag_per_k
        lag_per_k *= self.above_k
        np.maximum(log_rate, lag_per_k, out=log_rate)
        log_rate += self.log_factor
        return log_rate

    def of(self, strand: int) -> "DoseLaw":
        """The law of one strand alone."""
        one = slice(strand, strand + 1)
        return DoseLaw(self.inverse_reference_per_k[one], self.below_k[one], self.above_k[one], self.log_factor[one])


def cautious_law(strands: Sequence[Strand]) -> DoseLaw:
    """The law that alerts use: two-sided activation energy, wet unless the owner says dry.

    Needs `ea_below_kj_mol` ≤ `ea_above_kj_mol`; raises ValueError otherwise.
    """
    for strand in strands:
        if strand.material.ea_below_kj_mol > strand.material.ea_above_kj_mol:
            raise ValueError(
                f"material {strand.material.name}: ea_below_kj_mol {strand.material.ea_below_kj_mol} is above"
                f" ea_above_kj_mol {strand.material.ea_above_kj_mol}; the cautious law needs the lower one below"
            )
    below = [strand.material.ea_below_kj_mol for strand in strands]
    above = [strand.material.ea_above_kj_mol for strand in strands]
    return _law([strand.material for strand in strands], below, above, [strand.wet_factor for strand in strands])


def hopeful_law(strands: Sequence[Strand]) -> DoseLaw:
    """The law for the far end of a range: best single activation energy, dry."""
    best = [strand.material.ea_best_kj_mol for strand in strands]
    return _law([strand.material for strand in strands], best, best, [1.0] * len(strands))


def _law(
    materials: Sequence[Material], below_kj_mol: Sequence[float], above_kj_mol: Sequence[float], wet: Sequence[float]
) -> DoseLaw:
    reference_k = _column([material.reference_c for material in materials]) + ZERO_C_K
    return DoseLaw(
        inverse_reference_per_k=1.0 / reference_k,
        below_k=_column(below_kj_mol) * 1e3 / GAS_CONSTANT_J_MOL_K,
        above_k=_column(above_kj_mol) * 1e3 / GAS_CONSTANT_J_MOL_K,
        log_factor=np.log(_column(wet)),
    )


def _column(values: Sequence[float]) -> Array:
    return np.array(values, dtype=float).reshape(-1, 1)


def log_mean(log_change: Array, before: Array, after: Array) -> Array:
    """Logarithmic mean of two rates whose logarithms differ by `log_change`, for callers who have all three at hand.

    Where they hardly differ the quotient would lose digits; there the plain mean is right to 1e-9.
    """
    mean: Array = before + after
    mean *= 0.5
    np.divide(after - before, log_change, out=mean, where=np.abs(log_change) > _HARDLY)
    return mean
