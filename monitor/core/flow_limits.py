"""Slip that was observed, by flow and manifold temperature: where a strand's limits lie on this machine.

Owns a small table of fixed size, frozen like every state. Knows nothing of alarms or of what is healthy: the slip here
is commanded less sensed feed, the encoder's error of scale included.
"""

from typing import Final, NamedTuple

from monitor.core.stall_findings import FlowSlip

FLOW_STEP_MM3_S: Final = 2.0
TEMPERATURE_STEP_K: Final = 10.0
_FLOWS: Final = 12  # the last bin holds all that is faster
_COLDEST_C: Final = 140.0
_TEMPERATURES: Final = 18  # the first and the last bin hold all that is colder and hotter


class Cell(NamedTuple):
    """Feed in one bin."""

    fed_mm: float = 0.0
    lost_mm: float = 0.0


class FlowLimits(NamedTuple):
    """The table: rows of temperature, of cells by flow; None where nothing was fed."""

    rows: tuple[tuple[Cell, ...] | None, ...] = (None,) * _TEMPERATURES

    def observed(self) -> tuple[FlowSlip, ...]:
        """All bins with feed, by temperature, then flow."""
        return tuple(
            FlowSlip(
                column * FLOW_STEP_MM3_S,
                _COLDEST_C + line * TEMPERATURE_STEP_K,
                cell.fed_mm,
                cell.lost_mm / cell.fed_mm,
            )
            for line, row in enumerate(self.rows)
            for column, cell in enumerate(row or ())
            if cell.fed_mm > 0.0
        )


_EMPTY_ROW: Final = (Cell(),) * _FLOWS


def observe(table: FlowLimits, flow_mm3_s: float, manifold_c: float, fed_mm: float, lost_mm: float) -> FlowLimits:
    """Table with one more step of feed."""
    line = min(max(int((manifold_c - _COLDEST_C) / TEMPERATURE_STEP_K), 0), _TEMPERATURES - 1)
    column = min(int(flow_mm3_s / FLOW_STEP_MM3_S), _FLOWS - 1)
    row = table.rows[line] or _EMPTY_ROW
    old = row[column]
    cell = Cell(old.fed_mm + fed_mm, old.lost_mm + lost_mm)
    row = (*row[:column], cell, *row[column + 1 :])
    return FlowLimits((*table.rows[:line], row, *table.rows[line + 1 :]))
