"""What the plan says of next uses as plain data: how it stands in a recording, and how it is read back."""

from math import inf, isfinite
from typing import Any, Final

from connectors.recording import Conclusion
from monitor.core.next_use import NextUse, NextUses

KIND: Final = "next_uses"
_MOST_INPUTS: Final = 64


def next_uses_data(note: NextUses) -> dict[str, Any]:
    """Keys of the line; `start_s` is null for an input that is never used again."""
    uses = [{"input": use.input, "start_s": use.start_s if isfinite(use.start_s) else None} for use in note.uses]
    return {"planned_s": note.planned_s, "pace": note.pace, "uses": uses}


def next_uses_in(conclusion: Conclusion) -> NextUses | None:
    """The note that a recorded conclusion holds; None for any other, or a damaged one."""
    if conclusion.kind != KIND:
        return None
    uses = conclusion.data.get("uses")
    planned_s, pace = _number(conclusion.data.get("planned_s")), _number(conclusion.data.get("pace"))
    if not isinstance(uses, list) or planned_s is None or pace is None:
        return None
    known = tuple(use for use in map(_use, uses[:_MOST_INPUTS]) if use is not None)
    return NextUses(conclusion.time_s, known, planned_s, pace) if len(known) == len(uses) else None


def _use(row: object) -> NextUse | None:
    if not isinstance(row, dict):
        return None
    number, start_s = row.get("input"), row.get("start_s")
    if not isinstance(number, int) or isinstance(number, bool):
        return None
    at_s = _number(start_s)
    if start_s is not None and at_s is None:
        return None
    return NextUse(number, inf if at_s is None else at_s)


def _number(value: object) -> float | None:
    is_number = isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value)
    return float(value) if is_number else None  # type: ignore[arg-type]  # checked a line above
