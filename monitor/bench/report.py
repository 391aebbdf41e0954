"""A test in words: the cautions before it, its result, the evidence beside a figure, a row of the table of results.

Owns the wording. Knows nothing of files; a date comes with the call.
"""

from math import ceil, floor
from typing import Final, NamedTuple

from monitor.bench.job import FAILED_AT_ONE_PLACE, MOVE_ON_MM, STOP_MM, Job
from monitor.bench.result import Result
from monitor.bench.step_test import Ending

_SPARE: Final = (
    "The drive's motor must be limited in current, so that it skips and does not chew. If you hear it click or see it"
    f" grind, stop the feed. You are told to when {STOP_MM:g} mm are surely lost, and to move on by {MOVE_ON_MM:g} mm"
    f" of fresh strand after {FAILED_AT_ONE_PLACE} failures at one place: common practice, no source; the figures are"
    " judgement."
)
CAUTIONS: Final = (
    "Parts are hot, and moving parts pinch. Ventilate. Stay with the machine until it is cool.",
    "The machine's own protection stays on; nothing here replaces it.",
    _SPARE,
)


def opening(job: Job, *, others: tuple[int, ...]) -> list[str]:
    """Say what will be done, and what to take care of."""
    span = job.span
    label = f" ({job.label})" if job.label else ""
    steps = (
        f"The manifold goes from {span.from_c:g} °C up by steps of {span.step_k:g} K, then finer, at most to"
        f" {span.to_c:g} °C; for filling it stands at {job.hot_c:g} °C. It is never to pass {job.limit_c:g} °C,"
        f" {job.limit_is}."
    )
    attempts = (
        f"Each attempt feeds {job.attempt_mm:g} mm at {job.speed_mm_s:g} mm/s ({job.flow_mm3_s:.1f} mm³/s): the"
        " result holds for that flow and below."
    )
    told = [f"Step test: input {job.input}, {job.material}{label}, on {job.machine}.", steps, attempts]
    if job.nozzle_c is None:
        told.append("The maker's range is not known: set the nozzle to its middle yourself (--nozzle to be watched).")
    if others:
        inputs = ", ".join(map(str, others))
        told.append(f"The strands in inputs {inputs} stand in the same manifold and age: withdraw them if you can.")
    return told


def result_text(job: Job, result: Result, why: str) -> str:
    """What was found, in a sentence or two; `why` tells why a test was broken off."""
    attempts = f"{result.counted} attempts" if result.counted != 1 else "1 attempt"
    if result.ending is None:
        known = "" if result.feeding is None else f" So far it lies {_interval(job, result)}."
        return f"Broken off ({why or 'by you'}) after {attempts}.{known}"
    if result.ending is Ending.FEEDS_NOWHERE:
        return f"{job.material} did not feed up to {job.span.to_c:g} °C ({attempts}). Look for another reason first."
    if result.ending is Ending.FEEDS_EVERYWHERE:
        return f"{job.material} feeds at {job.span.from_c:g} °C already ({attempts}). Try a lower --from for the limit."
    if result.feeding is None or result.min_feed_c is None:
        return f"{attempts} do not tell where {job.material} begins to feed below {job.span.to_c:g} °C."
    short = "" if result.ending is Ending.FOUND else " It was not to be told more closely: the strand is erratic."
    return (
        f"{job.material} feeds from {result.min_feed_c:g} °C at {job.flow_mm3_s:.1f} mm³/s. The lowest temperature at"
        f" which it feeds 19 times in 20 lies {_interval(job, result)}, by {attempts}; the upper end counts.{short}"
    )


def _interval(job: Job, result: Result) -> str:
    feeding = result.feeding
    if feeding is None:
        return ""
    confidence = f"{100.0 * job.span.confidence:.0f} % confidence"
    return f"between {floor(feeding.low_c)} and {ceil(feeding.high_c)} °C with {confidence}"


class Figure(NamedTuple):
    """What is written to the materials: the value with its range and where it comes from."""

    value_c: float
    low_c: float | None
    source: str


def figure(job: Job, result: Result, date: str) -> Figure | None:
    """The figure with its evidence; None where there is none to write down."""
    if result.min_feed_c is None:
        return None
    flow = f"input {job.input}, {job.speed_mm_s:g} mm/s ({job.flow_mm3_s:.1f} mm³/s), {result.counted} attempts"
    feeding = result.feeding
    if feeding is None:
        return Figure(result.min_feed_c, None, f"bench {date}, {job.machine}, {flow}, fed at the lowest step already")
    low_c = min(result.min_feed_c, float(floor(feeding.low_c)))
    interval = f"{100.0 * job.span.confidence:.0f} % interval {low_c:g} to {ceil(feeding.high_c):g} °C"
    return Figure(result.min_feed_c, low_c, f"bench {date}, {job.machine}, {flow}, {interval}")


class Row(NamedTuple):
    """One result, as the table of results shows it."""

    material: str
    maker: str
    nozzle_c: float | None
    min_feed_c: float | None
    low_c: float | None
    high_c: float | None
    slip: float | None
    date: str
    machine: str


_NONE: Final = "–"
_TITLES: Final = ("material", "maker's", "nozzle", "manifold from", "slip", "date", "machine")
_UNITS: Final = ("", "range °C", "°C", "°C (interval)", "%", "", "")
_WIDTHS: Final = (13, 9, 7, 15, 6, 11, 19)


def table_lines(rows: list[Row]) -> list[str]:
    """Give the results as a table of 80 columns."""
    return [_line(_TITLES), _line(_UNITS), *(_line(_cells(row)) for row in rows)]


def _cells(row: Row) -> tuple[str, ...]:
    interval = "" if row.low_c is None or row.high_c is None else f" ({floor(row.low_c)}–{ceil(row.high_c)})"
    return (
        row.material,
        row.maker or _NONE,
        _NONE if row.nozzle_c is None else f"{row.nozzle_c:g}",
        f"{_NONE if row.min_feed_c is None else f'{row.min_feed_c:g}'}{interval}",
        _NONE if row.slip is None else f"{100.0 * row.slip:.1f}",
        row.date,
        row.machine,
    )


def _line(cells: tuple[str, ...]) -> str:
    short = (cell if len(cell) < width else f"{cell[: width - 2]}…" for cell, width in zip(cells, _WIDTHS, strict=True))
    return "".join(f"{cell:<{width}}" for cell, width in zip(short, _WIDTHS, strict=True)).rstrip()
