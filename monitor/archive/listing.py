"""The list of recordings as text, or as data for other programs. Pure; prints nothing."""

from collections.abc import Iterator, Sequence
from typing import Any, Final

from connectors.clean_text import clean_text
from monitor.archive.index import Row
from monitor.clock_text import span_text

_WIDTHS = (16, 11, 18, 26, 11, 28)
_TITLES = ("begun", "lasted", "machine", "worst strand, of its limit", "alerts", "outcome", "file")


WIDE: Final = 140
"""Characters that a line of the whole table takes, or somewhat more."""


def list_lines(rows: Sequence[Row], known: int, *, is_wide: bool = True) -> Iterator[str]:
    """A table with a line for each recording, or two; `known` is the number of recordings in the directory."""
    for cells in (*([_TITLES] if rows else []), *map(_cells, rows)):
        if is_wide:
            yield _line(cells)
        else:
            begun, lasted, machine, worst, alerts, outcome, file = cells
            yield f"{_cell(begun, 16)}  {_cell(lasted, 11)} {_cell(worst, 26)}  {_cell(alerts, 11)}".rstrip()
            yield f"    {clean_text(file, 74)}: {clean_text(outcome)} ({clean_text(machine, 40)})"
    total = f"{len(rows)} of {known} recordings" if len(rows) != known else f"{known} recordings"
    yield f"{total}; alerts: A ALARM, W WARNING, C CAUTION"


def row_data(row: Row) -> dict[str, Any]:
    """One recording as plain data."""
    return {**row._asdict(), "is_ended": bool(row.is_ended)}


def _cells(row: Row) -> tuple[str, ...]:
    if row.fault and not row.duration_s:
        return (row.start_text or "?", "", row.machine, f"unreadable: {row.fault}", "", row.outcome, row.name)
    lasted = span_text(row.duration_s) + ("" if row.is_ended else "+")
    alerts = f"{row.alarms}A {row.warnings}W {row.cautions}C"
    outcome = row.outcome or "not marked"
    return (row.start_text, lasted, row.machine, _worst(row), alerts, outcome, row.name + ("  !" if row.fault else ""))


def _worst(row: Row) -> str:
    if row.worst_share is None:
        return "nothing was reported"
    return f"{row.worst_input} {clean_text(row.worst_material or '', 14)} {row.worst_share:.0%}"


def _line(cells: Sequence[str]) -> str:
    """Cells in columns, the last one as long as it is."""
    parts = map(_cell, cells, _WIDTHS)
    return "  ".join([*parts, clean_text(cells[-1])]).rstrip()


def _cell(text: str, width: int) -> str:
    return f"{clean_text(text, width):{width}}"
