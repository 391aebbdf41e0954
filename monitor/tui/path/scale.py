"""Rows of the picture of the hot path against millimetres along it, and what each row shows of a strand.

Owns the scale and the five levels of heat. Knows nothing of looks, columns or widths.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from monitor.core.assessment import StrandAssessment, ZonePlace

LEVELS: Final = "·:░▒▓"
"""From stiff to far above the glass transition, told apart by how dense the character is."""

LEVEL_EDGES_K: Final = (-15.0, 0.0, 40.0, 100.0)
"""Temperature above the strand's own glass transition at which the next character begins [K]."""


@dataclass(frozen=True, slots=True)
class PathScale:
    """Rows of equal height: `upstream_rows` from the cold end down to x = 0, `shared_rows` from there to the nozzle."""

    top_mm: float
    bottom_mm: float
    upstream_rows: int
    shared_rows: int

    @property
    def rows(self) -> int:
        """All rows."""
        return self.upstream_rows + self.shared_rows

    def edges_mm(self, row: int) -> tuple[float, float]:
        """Lower and upper edge of a row, x in mm upstream of the merge point."""
        if row < self.upstream_rows:
            step_mm = self.top_mm / self.upstream_rows
            return self.top_mm - (row + 1) * step_mm, self.top_mm - row * step_mm
        step_mm = -self.bottom_mm / self.shared_rows
        below = row - self.upstream_rows
        return -(below + 1) * step_mm, -below * step_mm

    def row_of(self, x_mm: float) -> int | None:
        """Upstream row whose lower edge is at or just below `x_mm`; None outside the path."""
        if not 0 <= x_mm < self.top_mm:
            return None
        return self.upstream_rows - 1 - int(x_mm / self.top_mm * self.upstream_rows + 1e-9)


def scale_for(zones: Sequence[ZonePlace], rows: int) -> PathScale:
    """Scale that spreads all zones over `rows` rows."""
    top_mm = max(zone.cold_end_mm for zone in zones)
    bottom_mm = min(0.0, *(zone.hot_end_mm for zone in zones))
    if bottom_mm == 0:
        return PathScale(top_mm, bottom_mm, rows, 0)
    shared = min(rows - 1, max(2, round(rows * -bottom_mm / (top_mm - bottom_mm))))
    return PathScale(top_mm, bottom_mm, rows - shared, shared)


def heat_levels(strand: StrandAssessment, scale: PathScale) -> str:
    """One character of `LEVELS` per upstream row, by temperature above the strand's own glass transition."""
    step_mm = scale.top_mm / scale.upstream_rows
    middle_mm = scale.top_mm - (np.arange(scale.upstream_rows) + 0.5) * step_mm
    above_k = np.interp(middle_mm, strand.x_mm, strand.temp_c) - strand.glass_c
    return "".join(LEVELS[level] for level in np.searchsorted(LEVEL_EDGES_K, above_k, side="right"))


def ageing_marks(strand: StrandAssessment, scale: PathScale) -> str:
    """One character per upstream row: `w` past the warn dose, `L` past the limit, else a blank."""
    step_mm = scale.top_mm / scale.upstream_rows
    lower_mm = (np.arange(scale.upstream_rows) * step_mm)[: scale.upstream_rows]
    starts = np.minimum(np.searchsorted(strand.x_mm, lower_mm), len(strand.x_mm) - 1)
    worst_min = np.maximum.reduceat(strand.dose_min, starts)[::-1]
    passed = (worst_min >= strand.dose_warn_min).astype(int) + (worst_min >= strand.dose_limit_min)
    return "".join(" wL"[mark] for mark in passed)
