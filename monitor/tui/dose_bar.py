"""A dose against its warn and limit marks as a bar that is read without colour.

The scale runs from 0 to `FULL_SCALE` limits; `w` stands at the warn dose, `L` at the limit.
"""

from typing import Final

FULL_SCALE: Final = 1.25
"""Right end of the bar, in limits: what has passed the limit is seen to have passed it."""

UNSURE: Final = "▒"
"""The part of the bar that is there only if all was hot while no data came."""


def dose_bar(dose_min: float, warn_min: float, limit_min: float, width: int, low_min: float | None = None) -> str:
    """Bar of `width` cells; from `low_min` on, where it is known, it is not sure that the dose was taken.

    >>> dose_bar(0, 50, 100, 10), dose_bar(60, 50, 100, 10), dose_bar(500, 50, 100, 10)
    ('···w···L··', '███w█··L··', '███w███L██')
    >>> dose_bar(90, 50, 100, 10, 20)
    '██▒w▒▒▒L··'
    """
    if width <= 0:
        return ""
    end_min = FULL_SCALE * limit_min
    halves = round(2 * width * min(1.0, max(0.0, dose_min / end_min)))
    cells = list("█" * (halves // 2) + "▌" * (halves % 2))
    if low_min is not None:
        sure = round(width * min(1.0, max(0.0, low_min / end_min)))
        cells[sure:] = UNSURE * (len(cells) - sure)
    cells += "·" * (width - len(cells))
    cells[_cell(warn_min / end_min, width)] = "w"
    cells[_cell(limit_min / end_min, width)] = "L"
    return "".join(cells)


def _cell(share: float, width: int) -> int:
    """Cell that ends at, or holds, this share of the width."""
    return min(width - 1, max(0, round(share * width) - 1))
