"""Tables as CSV (RFC 4180, UTF-8), safe to open in a spreadsheet."""

import csv
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from monitor.exporting.tables import Cell, Table

_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""What a spreadsheet may take for the beginning of a formula, wide forms included (common practice, no source)."""


class CsvSink:
    """Writes one table into a new file."""

    def __init__(self, table: Table, path: Path) -> None:
        self._file = path.open("x", encoding="utf-8", newline="")
        self._rows = csv.writer(self._file)
        self.row([column.name for column in table.columns])

    def row(self, cells: Sequence[Cell]) -> None:
        """Write one row."""
        self._rows.writerow([safe_cell(cell) for cell in cells])

    def close(self) -> None:
        """Close the file."""
        self._file.close()


def safe_cell(cell: Cell) -> Cell:
    """A cell that no spreadsheet takes for a formula: text that looks like one gets an apostrophe before it.

    >>> safe_cell("=1+1"), safe_cell("input 3"), safe_cell(-1.5)
    ("'=1+1", 'input 3', -1.5)
    """
    return f"'{cell}" if isinstance(cell, str) and cell.lstrip(" ").startswith(_FORMULA) else cell
