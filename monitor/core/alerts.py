"""Life cycle of alerts: which points are above their limits, since when, and whether the owner has seen it.

Stored are facts (level, acknowledged, pending change); the state's name is derived, as ISA-18.2 and IEC 62682 have it.
A stale value never clears an alert. Knows nothing of texts; see alert_texts.py.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Final, NamedTuple

import numpy as np

from monitor.core.alert_points import Point
from monitor.core.alert_table import Rule
from monitor.core.alert_types import AlertState, Priority
from monitor.core.assessment import Array


@dataclass(frozen=True, slots=True)
class Record:
    """What is remembered of one point that is not at rest."""

    level: int = 0  # 0: back to normal
    highest: int = 0  # level reached in this activation: what it was tells how urgent it is to be seen
    acknowledged: bool = False
    raised_s: float | None = None  # when this activation began; None before the first
    pending_level: int | None = None  # a change that has not lasted long enough yet
    pending_s: float = 0.0
    unseen_s: float | None = None  # since when it wants to be seen
    is_overdue: bool = False  # a WARNING that nobody has seen for half the time there is to respond

    @property
    def state(self) -> AlertState:
        """The state's name, derived from the facts."""
        if self.level:
            return AlertState.ACKNOWLEDGED if self.acknowledged else AlertState.UNACKNOWLEDGED
        is_at_rest = self.acknowledged or self.raised_s is None
        return AlertState.NORMAL if is_at_rest else AlertState.RETURNED


_AT_REST: Final = Record()


class Change(NamedTuple):
    """One transition of one point."""

    point: int
    event: str
    record: Record
    previous: AlertState


@dataclass(frozen=True, slots=True)
class AlertBook:
    """All points that are not at rest, by index, and how often each was raised."""

    records: Mapping[int, Record] = field(default_factory=dict)
    counts: Mapping[int, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class AlertLaw:
    """The points and their limits; `raised` is the fast look that finds nothing on a healthy machine."""

    points: tuple[Point, ...]
    lowest: Array  # first limit of each point

    def raised(self, values: Array) -> list[int]:
        """Indexes of the points above their lowest limit."""
        return np.flatnonzero(values > self.lowest).tolist()

    def level(self, point: int, value: float) -> int:
        """How many limits the value is above."""
        return sum(value > limit for limit in self.points[point].limits)

    def level_to_keep(self, point: int, value: float) -> int:
        """The same with the deadband: the level that the value still supports."""
        return self.level(point, value + self.points[point].rule.deadband)


def alert_law(points: tuple[Point, ...]) -> AlertLaw:
    """Collect the limits of all points."""
    return AlertLaw(points, np.array([point.limits[0] for point in points]))


def update(
    book: AlertBook, law: AlertLaw, values: Array, time_s: float, *, fresh: bool, sure: Array | None = None
) -> tuple[AlertBook, list[Change]]:
    """Alerts after the points have taken these values.

    `sure` is given while a wall sensor is silent: values by the walls that are known, which may raise, but never clear,
    an alert that needs walls.
    """
    touched = law.raised(values)
    if not touched and not book.records:
        return book, []
    records, counts, changes = dict(book.records), dict(book.counts), list[Change]()
    for point in sorted({*touched, *records}):
        rule = law.points[point].rule
        if rule.needs_fresh and not fresh:
            continue
        value = float(values[point])
        if rule.needs_walls and sure is not None:
            value = float(sure[point])
            if law.level(point, value) <= records.get(point, _AT_REST).level:
                continue
        _update_point(point, law, value, time_s, records, counts, changes)
    for point, record in records.items():
        if _becomes_overdue(law.points[point].rule, record, time_s):
            records[point] = replace(record, is_overdue=True)
            changes.append(Change(point, "escalated", records[point], record.state))
    return AlertBook(records, counts), changes


def _becomes_overdue(rule: Rule, record: Record, time_s: float) -> bool:
    """Whether an active WARNING has now gone unseen for half its time to respond (IMO MSC.302(87), 6.2.2)."""
    if record.acknowledged or record.is_overdue or not record.level or record.unseen_s is None:
        return False
    if record.pending_level is not None and record.pending_level < record.level:
        return False  # it is about to end
    is_warning = rule.priorities[record.level - 1] is Priority.WARNING
    return is_warning and time_s - record.unseen_s > rule.respond_within_s / 2


def acknowledge(book: AlertBook, points: Iterable[int]) -> tuple[AlertBook, list[Change]]:
    """Alerts after the owner has seen those of `points`."""
    records, changes = dict(book.records), list[Change]()
    for point in points:
        record = records.get(point)
        if record is None or record.acknowledged or record.state is AlertState.NORMAL:
            continue
        seen = replace(record, acknowledged=True, is_overdue=False)
        changes.append(Change(point, "acknowledged", seen, record.state))
        if seen.level:
            records[point] = seen
        else:
            del records[point]
    return AlertBook(records, book.counts), changes


def noted(book: AlertBook, points: Iterable[int], event: str) -> list[Change]:
    """Something to tell of points that are active, which leaves their state as it is."""
    active = [(point, book.records[point]) for point in points if point in book.records]
    return [Change(point, event, record, record.state) for point, record in active if record.level]


def _update_point(
    point: int,
    law: AlertLaw,
    value: float,
    time_s: float,
    records: dict[int, Record],
    counts: dict[int, int],
    changes: list[Change],
) -> None:
    record = records.get(point, Record())
    rule = law.points[point].rule
    up, keep = law.level(point, value), law.level_to_keep(point, value)
    target = up if up > record.level else min(keep, record.level)
    if target == record.level:
        if record.pending_level is not None and record.level < record.pending_level <= keep:
            return  # within the deadband of a limit just passed: the delay runs on
        _settle(records, point, record)
        return
    if record.pending_level is None or (record.pending_level > record.level) != (target > record.level):
        record = replace(record, pending_level=target, pending_s=time_s)
    delay_s = rule.on_delay_s if target > record.level else rule.off_delay_s
    if time_s - record.pending_s < delay_s:
        records[point] = record
        return
    event, after = _changed(record, target, time_s)
    changes.append(Change(point, event, after, record.state))
    if event == "raised":
        counts[point] = counts.get(point, 0) + 1
    _settle(records, point, after)


def _settle(records: dict[int, Record], point: int, record: Record) -> None:
    """Keep a record without a pending change, and forget one that is back at rest."""
    if record.state is AlertState.NORMAL:
        records.pop(point, None)
    elif record.pending_level is not None:
        records[point] = replace(record, pending_level=None)
    else:
        records[point] = record


def _changed(record: Record, level: int, time_s: float) -> tuple[str, Record]:
    """Name of the transition to `level`, and the record after it."""
    after = replace(record, level=level, highest=max(level, record.highest), pending_level=None)
    if record.state is AlertState.NORMAL:
        return "raised", replace(after, highest=level, acknowledged=False, raised_s=time_s, unseen_s=time_s)
    if record.level == 0:
        return "re-raised", replace(after, acknowledged=False, unseen_s=time_s)
    if level > record.level:
        return "escalated", replace(after, acknowledged=False, unseen_s=time_s)
    return ("cleared" if level == 0 else "eased"), after
