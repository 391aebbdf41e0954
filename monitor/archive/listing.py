"""The list of recordings as text, or as data for other programs. Pure; prints nothing."""

from collections.abc import Iterator, Sequence
from typing import Any

from connectors.clean_text import clean_text
from monitor.archive.index import Row
from monitor.clock_text import span_text

_WIDTHS = (16, 11, 18, 26, 11, 28)
_TITLES = ("begun", "lasted", "machine", "worst strand, of its limit", "alerts", "outcome", "file")


def list_lines(rows: Sequence[Row], known: int) -> Iterator[str]:
    """A table with a line for each recording; `known` is the number of recordings in the directory."""
    if rows:
        yield _line(_TITLES)
    for row in rows:
        yield _line(_cells(row))
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
    parts = [f"{clean_text(cell, width):{width}}" for cell, width in zip(cells, _WIDTHS, strict=False)]
    return "  ".join([*parts, clean_text(cells[-1])]).rstrip()
