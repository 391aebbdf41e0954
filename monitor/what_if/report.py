"""Two outcomes of one recording, side by side, as lines of text. Pure."""

from collections.abc import Iterator, Sequence
from itertools import zip_longest

from monitor.clock_text import clock_text
from monitor.replay.comparison import AlertMark
from monitor.what_if.outcome import AlertOutcome, Outcome, StrandOutcome

_NAME_CELLS, _SHARE_CELLS, _TIME_CELLS = 22, 7, 9


def report_lines(then: Outcome, otherwise: Outcome, cannot_know: Sequence[str]) -> Iterator[str]:
    """Strands, alerts, the first difference, and what cannot be known."""
    yield from _strand_lines(then, otherwise)
    yield ""
    yield from _alert_lines(then, otherwise)
    yield ""
    yield f"first difference: {first_difference(then, otherwise)}"
    yield "what this cannot know:"
    yield from (f"  {text}" for text in cannot_know)


def first_difference(then: Outcome, otherwise: Outcome) -> str:
    """The first change of an alert that is not the same in both; without one, whether any dose differs."""
    for old, new in zip_longest(then.changes, otherwise.changes):
        if old is None or new is None or not old[0].agrees(new[0]):
            return _earlier(old, new)
    if _shares(then) == _shares(otherwise):
        return "none, in alerts or in doses"
    return "none in the alerts; doses differ"


def _earlier(old: tuple[AlertMark, str] | None, new: tuple[AlertMark, str] | None) -> str:
    """Tell the earlier of two changes that differ, and what stands in its place."""
    is_then = new is None or (old is not None and old[0].time_s <= new[0].time_s)
    told = old if is_then else new
    if told is None:
        return "none"
    mark, words = told
    event, _, priority, _ = mark.facts
    side = "then" if is_then else "what if"
    other = "what if" if is_then else "then"
    return f"{clock_text(mark.time_s)} {side}: {priority} {event}: {words}; not so {other}"


def _strand_lines(then: Outcome, otherwise: Outcome) -> Iterator[str]:
    yield f"{'':<{_NAME_CELLS}} {'worst dose, of limit':<17} {'warn dose passed':<19} {'limit passed':<19}".rstrip()
    sides = "".join(f" {'then':<{cells}} {'what if':<{cells}}" for cells in (_SHARE_CELLS, _TIME_CELLS, _TIME_CELLS))
    yield f"{'strand':<{_NAME_CELLS}}{sides}".rstrip()
    for number in sorted(then.strands.keys() | otherwise.strands.keys()):
        yield _strand_line(then.strands.get(number), otherwise.strands.get(number))


def _strand_line(old: StrandOutcome | None, new: StrandOutcome | None) -> str:
    known = new if old is None else old
    name = "" if known is None else f"{known.input:>2} {known.name}"
    cells = (
        (_SHARE_CELLS, [_share(side) for side in (old, new)]),
        (_TIME_CELLS, [_passed(side, "warn_s") for side in (old, new)]),
        (_TIME_CELLS, [_passed(side, "limit_s") for side in (old, new)]),
    )
    row = "".join(f" {text:<{width}}" for width, texts in cells for text in texts)
    return f"{name[:_NAME_CELLS]:<{_NAME_CELLS}}{row}".rstrip()


def _share(strand: StrandOutcome | None) -> str:
    return "-" if strand is None else f"{strand.worst_share:.0%}"


def _passed(strand: StrandOutcome | None, mark: str) -> str:
    if strand is None:
        return "-"
    time_s: float | None = getattr(strand, mark)
    return "never" if time_s is None else clock_text(time_s)


def _alert_lines(then: Outcome, otherwise: Outcome) -> Iterator[str]:
    known = {**otherwise.alerts, **then.alerts}
    if not known:
        yield "alerts: none, then or in the what-if"
        return
    yield f"{'alerts':<{_NAME_CELLS}} {'then':<{_TIME_CELLS}} what if"
    rows = [(key, then.alerts.get(key), otherwise.alerts.get(key)) for key in known]
    rows.sort(key=lambda row: min(alert.time_s for alert in row[1:] if alert is not None))
    for key, old, new in rows:
        times = " ".join(f"{_alert(side):<{_TIME_CELLS}}" for side in (old, new))
        yield f"{key[1].name:<{_NAME_CELLS}} {times} {known[key].words}"


def _alert(alert: AlertOutcome | None) -> str:
    return "never" if alert is None else clock_text(alert.time_s)


def _shares(outcome: Outcome) -> dict[int, float]:
    return {number: strand.worst_share for number, strand in outcome.strands.items()}
