"""What the owner asks of alerts, carried out: seen, shelved for a time, reset, out of service and back.

Pure, as all life of alerts. What a request cannot change is no transition.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import Final

from monitor.core.alert_record import Change, Record, told
from monitor.core.alert_types import AlertState, Request, RequestKind
from monitor.core.alerts import AlertBook, AlertLaw, unshelved

_Answer = tuple[str, Record] | None


def answer(
    book: AlertBook, law: AlertLaw, points: Iterable[int], request: Request, time_s: float
) -> tuple[AlertBook, list[Change]]:
    """Alerts after the owner has asked something of those of `points`."""
    records, changes = dict(book.records), list[Change]()
    for point in points:
        record = records.get(point)
        given = None if record is None else _ANSWERS[request.kind](record, request, time_s)
        if record is None or given is None:
            continue
        event, after = given
        after = told(after, event, time_s, law.points[point].rule, request.actor)
        changes.append(Change(point, event, after, record.state))
        if after.state is AlertState.NORMAL and after.pending_level is None:
            del records[point]
        else:
            records[point] = after
    return AlertBook(records, book.counts), changes


def _acknowledge(record: Record, _: Request, time_s: float) -> _Answer:
    if record.acknowledged or record.is_held_back or record.state is AlertState.NORMAL:
        return None
    return "acknowledged", replace(record, acknowledged=True, is_overdue=False, seen_s=time_s)


def _shelve(record: Record, request: Request, time_s: float) -> _Answer:
    if record.is_out or record.state is AlertState.NORMAL:
        return None
    return "shelved", replace(
        record,
        acknowledged=True,
        is_overdue=False,
        seen_s=time_s,
        shelved_until_s=time_s + request.for_s,
        reason=request.reason,
    )


def _unshelve(record: Record, _: Request, time_s: float) -> _Answer:
    return None if record.shelved_until_s is None or record.is_out else unshelved(record, time_s)


def _reset(record: Record, _: Request, time_s: float) -> _Answer:
    """Only what is over, and was seen, can be reset: an alert that stands would only come back."""
    if record.state is not AlertState.LATCHED_ACKNOWLEDGED:
        return None
    return "reset", replace(record, is_latched=False, seen_s=time_s)


def _take_out(record: Record, request: Request, time_s: float) -> _Answer:
    if record.is_out or record.state is AlertState.NORMAL:
        return None
    seen = replace(record, acknowledged=True, is_overdue=False, seen_s=time_s, shelved_until_s=None)
    return "out of service", replace(seen, is_out=True, reason=request.reason)


def _put_back(record: Record, _: Request, time_s: float) -> _Answer:
    return ("in service", unshelved(record, time_s)[1]) if record.is_out else None


_ANSWERS: Final[Mapping[RequestKind, Callable[[Record, Request, float], _Answer]]] = {
    RequestKind.ACKNOWLEDGE: _acknowledge,
    RequestKind.SHELVE: _shelve,
    RequestKind.UNSHELVE: _unshelve,
    RequestKind.RESET: _reset,
    RequestKind.TAKE_OUT: _take_out,
    RequestKind.PUT_BACK: _put_back,
}
