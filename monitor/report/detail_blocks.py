"""The rest of the report: alerts with their story, strands, requests, messages, data quality."""

from collections.abc import Iterator, Mapping
from datetime import datetime
from itertools import groupby
from typing import Any, Final

from monitor.core.alert_types import Moment
from monitor.report.blocks import Block, Heading, Items, Table, Words
from monitor.report.gathered import Gathered, Silence, StrandFacts, Told
from monitor.report.incidents import Incident
from monitor.report.read_state import ReadState
from monitor.report.times import Times, span_text

_MOST_ROWS: Final = 60
_CLOCK_S: Final = 60.0


def alert_blocks(gathered: Gathered, times: Times) -> Iterator[Block]:
    """Every alert that was announced, and what became of it."""
    yield Heading("Alerts")
    if not gathered.incidents:
        yield Words("None was announced.")
        return
    shown = gathered.incidents[:_MOST_ROWS]
    heads = ("raised", "priority", "alert", "what it said", "its story")
    yield Table(heads, tuple(_alert_row(incident, times) for incident in shown))
    if len(gathered.incidents) > len(shown):
        yield Words(f"And {len(gathered.incidents) - len(shown)} more.")


def _alert_row(incident: Incident, times: Times) -> tuple[str, ...]:
    under = f", folded under {incident.folded_under}" if incident.folded_under else ""
    said = (
        incident.first_text
        if incident.first_text == incident.worst_text
        else f"{incident.first_text}; at its worst: {incident.worst_text}"
    )
    story = "; ".join(
        _moment(event, list(moments), times)
        for event, moments in groupby(incident.moments, lambda moment: (moment.event, moment.actor))
    )
    return times.at(incident.raised_s), incident.priority.name, incident.id + under, said, story


def _moment(told: tuple[str, str], moments: list[Moment], times: Times) -> str:
    event, actor = told
    who = "" if actor == "engine" else f" by {actor}"
    often = f" ({len(moments)} times, last {times.since(moments[-1].time_s)})" if len(moments) > 1 else ""
    return f"{times.since(moments[0].time_s)} {event}{who}{often}"


def strand_blocks(gathered: Gathered, materials: Mapping[int, str], times: Times) -> Iterator[Block]:
    """One row per strand: what it went through."""
    heads = (
        "input",
        "material",
        "last fed",
        "longest hot standing",
        "highest dose",
        "past warning",
        "past limit",
        "soft past limit",
    )
    rows = tuple(_strand_row(strand, materials.get(strand.input, ""), times) for strand in gathered.strands)
    yield Table(heads, rows, right=(0, 4))


def _strand_row(strand: StrandFacts, material: str, times: Times) -> tuple[str, ...]:
    def when(time_s: float | None) -> str:
        return "–" if time_s is None else times.at(time_s)

    return (
        str(strand.input),
        material,
        when(strand.last_fed_s),
        span_text(strand.longest_idle_s),
        f"{strand.highest_dose_share:.0%} of limit",
        when(strand.dose_warn_s),
        when(strand.dose_limit_s),
        when(strand.softening_limit_s),
    )


def data_blocks(gathered: Gathered, state: ReadState, times: Times) -> Iterator[Block]:
    """How good the data were, and in what state the recording is."""
    yield Heading("Quality of the data")
    yield Items(tuple(_data_lines(gathered, state, times)))
    gaps = [silence for silence in gathered.silences if silence.length_s > gathered.stale_after_s]
    if gaps:
        shown = sorted(gaps, key=lambda gap: -gap.length_s)[:_MOST_ROWS]
        yield Table(("no data from", "to", "for", "the link"), tuple(_gap_row(gap, times) for gap in sorted(shown)))


def _data_lines(gathered: Gathered, state: ReadState, times: Times) -> Iterator[str]:
    counts = ", ".join(f"{kind} {count}" for kind, count in gathered.counts.items())
    whole_s = max(1.0, gathered.end_s - gathered.begin_s)
    yield f"{counts}; without fresh data for {span_text(gathered.silent_s)} ({gathered.silent_s / whole_s:.1%})"
    yield from state.verdict
    if state.skipped:
        yield f"lines that could not be read, skipped: {state.skipped}"
    if state.impossible:
        yield f"values and times that cannot be, left out: {state.impossible}"
    if state.torn:
        yield "the last line is incomplete: the watch was cut off while it wrote"
    if state.damage is not None:
        yield f"READING ENDED BEFORE THE END OF THE FILE: {state.damage}"
    yield from (f"{kind} beyond what a report keeps: {count}" for kind, count in gathered.dropped.items())
    yield from filter(None, (_note(told, times) for told in gathered.told))
    yield from _end_lines(gathered)
    yield from _clock_lines(gathered)


def _end_lines(gathered: Gathered) -> Iterator[str]:
    ends = [told for told in gathered.told if told.kind in {"end", "resumed"}]
    if not ends or ends[-1].kind != "end":
        yield "no end line: the watch was cut off"
    else:
        yield f"the watch ended: {text_of(ends[-1].data, 'reason')}"


def _note(told: Told, times: Times) -> str:
    when = times.at(told.time_s)
    match told.kind:
        case "gap":
            lost = text_of(told.data, "lines_lost")
            return f"{when}: lines could not be written ({lost} lost): {text_of(told.data, 'reason')}"
        case "resumed":
            unwatched = f"nobody had watched for {_gap_words(told.data)}"
            return f"{when}: a new watch went on with the recording; {unwatched}: {text_of(told.data, 'reason')}"
        case "fault":
            return f"{when}: a part of the watch failed and was left out: {text_of(told.data, 'text')}"
        case _:
            return ""


def _gap_words(data: Mapping[str, Any]) -> str:
    gap_s = data.get("gap_s")
    is_known = isinstance(gap_s, int | float) and 0 <= gap_s < 1e9  # noqa: PLR2004 -- thirty years
    return span_text(float(gap_s)) if is_known and gap_s is not None else "a time that is not known"


def _clock_lines(gathered: Gathered) -> Iterator[str]:
    """Tell when the time of day and the watch's own clock have drifted apart: the computer slept, or was set."""
    clocks = [told for told in gathered.told if told.kind == "clock"]
    if len(clocks) < 2:  # noqa: PLR2004 -- it takes two
        return
    first, last = (wall_s(told) for told in (clocks[0], clocks[-1]))
    if first is None or last is None:
        return
    drift_s = (last - first) - (clocks[-1].time_s - clocks[0].time_s)
    apart = f"the time of day and the watch's clock drifted apart by {span_text(abs(drift_s))}"
    if drift_s > _CLOCK_S:
        yield f"{apart}: the computer slept, or its clock was set forward"
    elif drift_s < -_CLOCK_S:
        yield f"{apart}: the clock was set back, or the watch was not in real time, as of a simulated machine"


def wall_s(told: Told) -> float | None:
    """Seconds of a recorded time of day; None where there is none."""
    try:
        return datetime.fromisoformat(text_of(told.data, "wall")).timestamp()
    except (ValueError, OverflowError):
        return None


def _gap_row(gap: Silence, times: Times) -> tuple[str, ...]:
    return (
        times.at(gap.from_s),
        times.at(gap.until_s),
        span_text(gap.length_s),
        "told it" if gap.is_told else "told nothing",
    )


def request_blocks(gathered: Gathered, times: Times) -> Iterator[Block]:
    """What the owner asked, and what became of messages to somebody's telephone."""
    asked = [told for told in gathered.told if told.kind in {"acknowledge", "request"}]
    sent = [told for told in gathered.told if told.kind == "notification"]
    yield Heading("What was asked and what was sent")
    yield Words("The owner asked nothing." if not asked else "What the owner asked:")
    if asked:
        yield Table(("at", "asked", "of alert", "by", "reason"), tuple(_asked_row(told, times) for told in asked))
    yield Words("No message was sent." if not sent else "Messages, and what became of them:")
    if sent:
        rows = tuple(_sent_row(told, times) for told in sent[:_MOST_ROWS])
        yield Table(("at", "channel", "event", "alert", "priority", "what became of it"), rows)
        yield from [Words(f"And {len(sent) - _MOST_ROWS} more.")] * (len(sent) > _MOST_ROWS)


def _asked_row(told: Told, times: Times) -> tuple[str, ...]:
    asked = "seen" if told.kind == "acknowledge" else text_of(told.data, "ask")
    return (times.at(told.time_s), asked, *(text_of(told.data, key) for key in ("alert_id", "actor", "reason")))


def _sent_row(told: Told, times: Times) -> tuple[str, ...]:
    return (
        times.at(told.time_s),
        *(text_of(told.data, key) for key in ("channel", "event", "alert_id", "priority", "outcome")),
    )


def text_of(data: Mapping[str, Any], key: str) -> str:
    """A value of a recorded line as text: whatever it may be, short."""
    longest = 300
    value = data.get(key, "")
    text = value if isinstance(value, str) else str(value)[:longest] if isinstance(value, bool | int | float) else ""
    return text[:longest]
