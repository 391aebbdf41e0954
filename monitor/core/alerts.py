"""Life cycle of alerts: which points are above their limits, since when, and what becomes of them with time.

A stale value never clears an alert. What the owner asks of alerts is `alert_requests.py`; texts are `alert_texts.py`.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from monitor.core.alert_points import Point
from monitor.core.alert_record import Change, Record, priority_of, told
from monitor.core.alert_rule import Rule
from monitor.core.alert_types import AlertState, Priority
from monitor.core.assessment import Array
from monitor.core.duration_words import clock_words

_AT_REST: Final = Record()

HeldBack = Callable[[int], str]
"""Gives the state of the machine that suppresses a point by design; empty where none does."""


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


def _never(_: int) -> str:
    return ""


def update(
    book: AlertBook,
    law: AlertLaw,
    values: Array,
    time_s: float,
    *,
    fresh: bool,
    sure: Array | None = None,
    held_back: HeldBack = _never,
) -> tuple[AlertBook, list[Change]]:
    """Alerts after the points have taken these values.

    `sure` is given while a wall sensor is silent: values by the walls that are known, which may raise, but never clear,
    an alert that needs walls.
    """
    touched = law.raised(values)
    if not touched and not book.records:
        return book, []
    pages = _Pages(law, time_s, held_back, dict(book.records), dict(book.counts), [])
    for point in sorted({*touched, *book.records}):
        rule = law.points[point].rule
        if rule.needs_fresh and not fresh:
            continue
        value = float(values[point])
        if rule.needs_walls and sure is not None:
            value = float(sure[point])
            if law.level(point, value) <= pages.records.get(point, _AT_REST).level:
                continue
        pages.take(point, value)
    for point in tuple(pages.records):
        pages.pass_time(point)
    return AlertBook(pages.records, pages.counts), pages.changes


def noted(book: AlertBook, law: AlertLaw, points: Iterable[int], event: str, time_s: float) -> list[Change]:
    """Something to tell of points that are active, which leaves their state as it is."""
    active = [(point, book.records[point]) for point in points if point in book.records]
    return [
        Change(point, event, told(record, event, time_s, law.points[point].rule), record.state)
        for point, record in active
        if record.level
    ]


@dataclass(frozen=True, slots=True)
class _Pages:
    """The book while it is being written."""

    law: AlertLaw
    time_s: float
    held_back: HeldBack
    records: dict[int, Record]
    counts: dict[int, int]
    changes: list[Change]

    def take(self, point: int, value: float) -> None:
        """Have a point take a value: its level changes once the change has lasted."""
        record, rule = self.records.get(point, _AT_REST), self.law.points[point].rule
        up, keep = self.law.level(point, value), self.law.level_to_keep(point, value)
        target = up if up > record.level else min(keep, record.level)
        if target == record.level:
            if record.pending_level is not None and record.level < record.pending_level <= keep:
                return  # within the deadband of a limit just passed: the delay runs on
            self._keep(point, replace(record, pending_level=None))
            return
        if record.pending_level is None or (record.pending_level > record.level) != (target > record.level):
            record = replace(record, pending_level=target, pending_s=self.time_s)
        delay_s = rule.on_delay_s if target > record.level else rule.off_delay_s
        if self.time_s - record.pending_s < delay_s:
            self.records[point] = record
            return
        self._change(point, record, *_changed(record, target, self.time_s, rule, self._why_held_back(point, record)))

    def pass_time(self, point: int) -> None:
        """What time alone does to an alert: what held it back ends, and what nobody acts on calls again."""
        record, rule = self.records[point], self.law.points[point].rule
        if record.shelved_until_s is not None and self.time_s >= record.shelved_until_s:
            self._change(point, record, *unshelved(record, self.time_s))
        elif record.suppressed_by and not record.is_about_to_end and not self.held_back(point):
            self._change(point, record, "raised", replace(record, suppressed_by="", unseen_s=self.time_s))
        elif _becomes_overdue(rule, record, self.time_s):
            self._change(
                point, record, "escalated", replace(record, is_overdue=True), _unseen_words(record, self.time_s)
            )
        elif _calls_again(rule, record, self.time_s):
            self._change(
                point, record, "re-alarmed", replace(record, acknowledged=False, unseen_s=self.time_s, seen_s=None)
            )

    def _why_held_back(self, point: int, record: Record) -> str:
        """What suppresses a point that is about to be raised; what has been told already stays told."""
        return self.held_back(point) if record.bare_state is AlertState.NORMAL else record.suppressed_by

    def _change(self, point: int, before: Record, event: str, after: Record, why: str = "") -> None:
        if before.bare_state is AlertState.NORMAL and after.level:
            self.counts[point] = self.counts.get(point, 0) + 1
            after = replace(after, story=())
        after = told(after, event, self.time_s, self.law.points[point].rule, why=why)
        self.changes.append(Change(point, event, after, before.state))
        self._keep(point, after)

    def _keep(self, point: int, record: Record) -> None:
        """Keep a record, and forget one that is back at rest."""
        if record.state is AlertState.NORMAL and record.pending_level is None:
            self.records.pop(point, None)
        else:
            self.records[point] = record


def unshelved(record: Record, time_s: float) -> tuple[str, Record]:
    """An alert that is announced again: it wants to be seen if it still stands."""
    after = replace(record, shelved_until_s=None, is_out=False, reason="")
    if record.level or record.is_latched:
        return "unshelved", replace(after, acknowledged=False, unseen_s=time_s, seen_s=None)
    return "unshelved", replace(after, acknowledged=True)


def _becomes_overdue(rule: Rule, record: Record, time_s: float) -> bool:
    """Whether an active WARNING has now gone unseen for half its time to respond (IMO MSC.302(87), 6.2.2)."""
    if record.state is not AlertState.UNACKNOWLEDGED or record.is_overdue or record.unseen_s is None:
        return False
    if record.is_about_to_end:
        return False
    is_warning = rule.priorities[record.level - 1] is Priority.WARNING
    return is_warning and time_s - record.unseen_s > rule.within_s(record.level) / 2


def _unseen_words(record: Record, time_s: float) -> str:
    """Why a WARNING is an ALARM now."""
    return "" if record.unseen_s is None else f"unseen for {clock_words(time_s - record.unseen_s)}"


def _calls_again(rule: Rule, record: Record, time_s: float) -> bool:
    """Whether an ALARM that was seen, but still stands, has stood for too long since (OPC 10000-9: ReAlarmTime)."""
    if rule.re_alarm_s is None or record.state is not AlertState.ACKNOWLEDGED or record.seen_s is None:
        return False
    is_alarm = priority_of(rule, record) is Priority.ALARM
    return is_alarm and not record.is_about_to_end and time_s - record.seen_s > rule.re_alarm_s


def _changed(record: Record, level: int, time_s: float, rule: Rule, suppressed_by: str) -> tuple[str, Record]:
    """Name of the transition to `level`, and the record after it."""
    after = replace(record, level=level, highest=max(level, record.highest), pending_level=None)
    if level == 0:
        return _over(after, rule)
    calling = replace(after, acknowledged=False, unseen_s=time_s, seen_s=None)
    if record.bare_state is AlertState.NORMAL:
        new = replace(calling, highest=level, raised_s=time_s, is_overdue=False, suppressed_by=suppressed_by)
        event = "suppressed" if new.state is AlertState.SUPPRESSED else "raised"
        return event, _out_of_its_shelf(record, new)
    if record.level == 0:
        return "re-raised", _out_of_its_shelf(record, calling)
    if level > record.level:
        return "escalated", _out_of_its_shelf(record, calling)
    was_alarm = not record.acknowledged and priority_of(rule, record) is Priority.ALARM
    return "eased", replace(after, is_overdue=record.is_overdue or was_alarm)  # what nobody has seen stays as urgent


def _out_of_its_shelf(before: Record, after: Record) -> Record:
    """A shelved alert that gets worse than it was when it was shelved is announced."""
    if after.shelved_until_s is None or after.level <= before.highest:
        return after
    return replace(after, shelved_until_s=None, reason="")


def _over(record: Record, rule: Rule) -> tuple[str, Record]:
    """An alert whose cause has gone: what was never announced need not be seen, what latches is held."""
    seen = record.acknowledged or record.is_held_back
    after = replace(record, acknowledged=seen, suppressed_by="", is_overdue=record.is_overdue and not seen)
    if rule.latches_from and record.highest >= rule.latches_from:
        return "latched", replace(after, is_latched=True, acknowledged=record.acknowledged)
    return "cleared", after
