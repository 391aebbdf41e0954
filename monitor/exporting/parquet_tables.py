"""Tables as Apache Parquet, by the library `pyarrow`, which is large and therefore an optional extra."""

from collections.abc import Sequence
from importlib import import_module
from pathlib import Path
from typing import Any, Final

from monitor.exit_codes import WrongUseError
from monitor.exporting.tables import Cell, Table

ROWS_AT_ONCE: Final = 20_000
"""Rows that are held in memory and become one row group."""


class ParquetSink:
    """Writes one table into a new file."""

    def __init__(self, table: Table, path: Path) -> None:
        self._arrow: Any = _library("pyarrow")
        kinds = {"number": self._arrow.float64(), "whole": self._arrow.int64(), "text": self._arrow.string()}
        self._schema = self._arrow.schema([(column.name, kinds[column.kind]) for column in table.columns])
        self._file = path.open("xb")
        try:
            self._writer: Any = _library("pyarrow.parquet").ParquetWriter(self._file, self._schema, compression="zstd")
        except BaseException:
            self._file.close()
            raise
        self._rows: list[Sequence[Cell]] = []

    def row(self, cells: Sequence[Cell]) -> None:
        """Take one row."""
        self._rows.append(cells)
        if len(self._rows) >= ROWS_AT_ONCE:
            self._write()

    def close(self) -> None:
        """Write what is left and end the file."""
        try:
            if self._rows:
                self._write()
            self._writer.close()
        finally:
            self._file.close()

    def _write(self) -> None:
        columns = [
            self._arrow.array(cells, field.type)
            for cells, field in zip(zip(*self._rows, strict=True), self._schema, strict=True)
        ]
        self._writer.write_table(self._arrow.Table.from_arrays(columns, schema=self._schema))
        self._rows = []


def check_library() -> None:
    """Say before anything is done that the library is missing; raises WrongUseError."""
    _library("pyarrow.parquet")


def _library(name: str) -> Any:  # noqa: ANN401 -- an optional library without types of its own
    try:
        return import_module(name)
    except ImportError as error:
        raise WrongUseError(
            "Parquet needs the library pyarrow, which is not installed (it is large). Install it with:"
            " pip install 'strandwatch[parquet]'; or export with --csv"
        ) from error
