"""The story in words: what happened first, what followed, why, and what would have saved it."""

from collections.abc import Iterator
from typing import Final

from monitor.core.alert_types import Priority
from monitor.report.blocks import Block, Heading, Items, Table, Words
from monitor.report.cause_types import Evidence, Explanation, Failure, Findings
from monitor.report.causes import is_open
from monitor.report.gathered import Gathered
from monitor.report.incidents import Incident
from monitor.report.saving import saving_words
from monitor.report.times import Times, span_text

_MOST_FOLLOWING: Final = 8


def summary_blocks(gathered: Gathered, findings: Findings, times: Times) -> Iterator[Block]:
    """The first page: all that must be known at breakfast."""
    yield Words(_watched(gathered, times))
    if not gathered.counts["samples"]:
        yield Words("The machine reported nothing, so nothing can be said of it.", is_lead=True)
    elif findings.failure is None:
        yield from _all_well(gathered)
    else:
        yield from _failure_blocks(gathered, findings, findings.failure, times)


def _watched(gathered: Gathered, times: Times) -> str:
    length = span_text(gathered.end_s - gathered.begin_s)
    build = "" if gathered.progress is None else f" The build had come to {gathered.progress:.0%}."
    return f"Watched for {length}, from {times.wall(gathered.begin_s)} to {times.wall(gathered.end_s)}.{build}"


def _all_well(gathered: Gathered) -> Iterator[Block]:
    yield Words(f"Nothing went wrong: no alert above CAUTION was raised, and {_data_words(gathered)}.", is_lead=True)
    cautions = [told for told in gathered.incidents if told.priority is Priority.CAUTION]
    if cautions:
        yield Items(tuple(f"CAUTION: {told.first_text}" for told in cautions[:_MOST_FOLLOWING]))
    unseen = unseen_inputs(gathered)
    if unseen:
        which = ", ".join(map(str, unseen))
        yield Words(
            f"But no encoder and no driver told how input {which} moved: a strand that ran out, jammed or ground there"
            " could have gone unseen."
        )
    worst = max(gathered.strands, key=lambda strand: strand.highest_dose_share, default=None)
    if worst is not None:
        idle = span_text(worst.longest_idle_s)
        yield Words(
            f"The hardest tried strand was input {worst.input}: {worst.highest_dose_share:.0%} of its dose limit, and"
            f" never longer than {idle} standing hot."
        )


def unseen_inputs(gathered: Gathered) -> tuple[int, ...]:
    """Inputs that were fed while nothing told whether their strands moved."""
    last = gathered.rows[-1].strands if gathered.rows else ()
    blind = {
        strand.input
        for strand, point in zip(gathered.strands, last, strict=False)
        if point.sensed_mm is None and point.flags is None and strand.last_fed_s is not None
    }
    return tuple(sorted(blind))


def _data_words(gathered: Gathered) -> str:
    if not gathered.silences:
        return "data came all the time"
    longest = span_text(max(silence.length_s for silence in gathered.silences))
    return f"data were never missing for longer than {longest}"


def _failure_blocks(gathered: Gathered, findings: Findings, failure: Failure, times: Times) -> Iterator[Block]:
    yield Words(_first(findings, failure, times), is_lead=True)
    yield Words(_shown(failure, times))
    following = _following(gathered, failure, findings)
    if following:
        yield Heading("What followed", 3)
        yield Items(tuple(_told(incident, times) for incident in following[:_MOST_FOLLOWING]))
        if len(following) > _MOST_FOLLOWING:
            yield Words(f"And {len(following) - _MOST_FOLLOWING} more: see the alerts.")
    if findings.explanations:
        yield Heading("What would have saved it", 3)
        yield Items(saving_words(gathered, failure, findings.explanations[0], times))


def _first(findings: Findings, failure: Failure, times: Times) -> str:
    if not findings.explanations:
        return f"First failure at {times.at(failure.time_s)}, {failure.subject}. What caused it is not known."
    first = findings.explanations[0]
    open_words = (
        " The evidence does not settle it: see the other explanations."
        if is_open(failure, findings.explanations)
        else ""
    )
    return f"First cause, {first.sure}: {first.cause} ({first.subject}), {_when(first, times)}.{open_words}"


def _when(told: Explanation, times: Times) -> str:
    if told.until_s is None:
        return f"from {times.at(told.began_s)} on"
    return f"beginning between {times.at(told.began_s)} and {times.at(told.until_s)}"


def _shown(failure: Failure, times: Times) -> str:
    word = "It did harm" if failure.is_harm else "It showed"
    text = failure.subject if failure.incident is None else failure.incident.worst_text
    raised = ""
    if failure.incident is not None and failure.incident.raised_s < failure.time_s - 1.0:
        raised = f" The watch had warned since {times.at(failure.incident.raised_s)}."
    where = "" if failure.subject in text else f" ({failure.subject})"
    return f"{word} at {times.at(failure.time_s)}{where}: {text}.{raised}"


def _following(gathered: Gathered, failure: Failure, findings: Findings) -> list[Incident]:
    own = failure.incident.id if failure.incident is not None else ""
    others = [told for told in gathered.incidents if told.id != own and told.priority > Priority.CAUTION]
    began_s = min([failure.time_s, *(told.began_s for told in findings.explanations[:1])])
    return sorted((told for told in others if told.raised_s >= began_s), key=lambda told: told.raised_s)


def _told(incident: Incident, times: Times) -> str:
    return f"{times.at(incident.raised_s)}: {incident.priority.name}, {incident.first_text}"


def cause_blocks(findings: Findings, times: Times) -> Iterator[Block]:
    """Every explanation with what speaks for and against it, and what is missing to be sure."""
    if not findings.explanations:
        return
    yield Heading("Why: explanations of the first failure")
    yield Words(
        "Ranked by evidence. The weights are judgement (0 says nothing, 1 settles it; below 0 it speaks against), and"
        " what they add up to is no probability."
    )
    for place, told in enumerate(findings.explanations, start=1):
        yield Heading(f"{place}. {told.cause}, {told.subject}: {told.sure}", 3)
        yield Words(f"Weight {told.weight:.2f}, {_when(told, times)}.")
        yield Table(("evidence", "weight"), tuple(map(_row, told.evidence)), right=(1,))
        if told.missing:
            yield Words(f"Missing to be sure: {'; '.join(told.missing)}.")


def _row(piece: Evidence) -> tuple[str, str]:
    return piece.text, f"{piece.weight:+.2f}"
