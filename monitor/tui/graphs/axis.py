"""The line of times below graphs: round times before now, and after it where that is shown. Pure."""

import math
from collections.abc import Iterator
from typing import Final

from monitor.tui.graphs.scale import ROUND_S
from monitor.tui.ink import DIM, Line, Span

_LEAST_APART: Final = 9
_TICK: Final = "│"
_STEPS_S: Final = (10.0, *ROUND_S)
_MINUTE_S, _HOUR_S, _DAY_S = 60.0, 3600.0, 86_400.0
_DAYS_FROM_S: Final = 3 * _DAY_S


def time_axis(
    begin_s: float, end_s: float, cells: int, *, now_s: float, now_at: int | None = None, now: str = "now"
) -> Line:
    """Exactly `cells` cells: each label stands beside the mark of its column.

    Parameters
    ----------
    begin_s, end_s : float
        The time shown [s of machine time].
    cells : int
        Columns of the graphs above.
    now_s : float
        The time that the labels count from [s].
    now_at : int or None
        The column that stands for now, where what may come has a scale of its own after it.
    now : str
        What is written at `now_s`.
    """
    row = [" "] * cells
    for time_s, text in _times(begin_s, end_s, cells, now_s, now):
        column = _column(time_s, begin_s, end_s, cells, now_s, now_at)
        _write(row, column, text)
    return (Span("".join(row), DIM),)


def _times(begin_s: float, end_s: float, cells: int, now_s: float, now: str) -> Iterator[tuple[float, str]]:
    """Now first, then round times outwards from it, as close as their words allow."""
    if begin_s <= now_s <= end_s:
        yield now_s, now
    length_s = end_s - begin_s
    if cells <= 0 or not 0 < length_s < math.inf:
        return
    for step_s in (step for step in _STEPS_S if step * cells >= _LEAST_APART * length_s):
        first, last = math.ceil((begin_s - now_s) / step_s), math.floor((end_s - now_s) / step_s)
        labels = [
            (now_s + at * step_s, f"{'-' if at < 0 else '+'}{ago(abs(at) * step_s)}")
            for at in sorted(range(first, last + 1), key=abs)
            if at
        ]
        if max((len(text) for _, text in labels), default=0) + len("│ ") <= step_s / length_s * cells:
            yield from labels
            return


def ago(time_s: float) -> str:
    """A round length of time, exactly.

    >>> [ago(time_s) for time_s in (30, 90, 600, 5400, 7200, 172_800, 345_600)]
    ['30 s', '90 s', '10 min', '1 h 30 min', '2 h', '48 h', '4 d']
    """
    if time_s % _MINUTE_S:
        return f"{time_s:g} s"
    if time_s < _HOUR_S:
        return f"{time_s / _MINUTE_S:g} min"
    if time_s >= _DAYS_FROM_S and time_s % _DAY_S == 0:
        return f"{time_s / _DAY_S:g} d"
    minutes = time_s % _HOUR_S / _MINUTE_S
    return f"{time_s // _HOUR_S:g} h" + (f" {minutes:g} min" if minutes else "")


def _column(time_s: float, begin_s: float, end_s: float, cells: int, now_s: float, now_at: int | None) -> int:
    if now_at is None:
        return min(cells - 1, max(0, int((time_s - begin_s) / (end_s - begin_s) * cells)))
    if time_s <= now_s:
        return min(now_at, max(0, int((time_s - begin_s) / max(1e-9, now_s - begin_s) * now_at)))
    after = int((time_s - now_s) / max(1e-9, end_s - now_s) * (cells - now_at - 1))
    return min(cells - 1, now_at + 1 + after)


def _write(row: list[str], column: int, text: str) -> None:
    """A label before its mark, or behind it where it would not fit before; none that would touch another."""
    for label, first in ((text + _TICK, column - len(text)), (_TICK + text, column)):
        last = first + len(label)
        if first >= 0 and last <= len(row) and not "".join(row[max(0, first - 1) : last + 1]).strip():
            row[first:last] = label
            return
