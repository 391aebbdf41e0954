"""What a build file holds, told block by block: how long it takes, how big it is, what in it was not understood.

Owns that wording. What comes from the file passes `clean_text` here or where it was read.
"""

from collections.abc import Iterator
from typing import Final

from connectors.clean_text import clean_text
from monitor.build_file.schedule import BuildSchedule
from monitor.core.hot_path import merge_sensors
from monitor.plan_pages.blocks import Block, Heading, Items, Words
from monitor.planning.clock_words import planned_words
from monitor.planning.plan import ManifoldBy, Plan

_METRE_MM: Final = 1000.0
SHOWN_ODD: Final = 8
"""So many kinds of what was not understood are named; `--json` has them all."""


def file_blocks(plan: Plan) -> Iterator[Block]:
    """All of it."""
    schedule = plan.build.schedule
    yield Heading("The file")
    yield Items(tuple(_facts(plan)))
    odd = [*_odd("not understood", schedule, is_note=False), *_odd("odd", schedule, is_note=True)]
    if odd:
        yield Words("What was not understood, or looked odd:")
        yield Items(tuple(odd))


def _facts(plan: Plan) -> Iterator[str]:
    schedule = plan.build.schedule
    low_s, planned_s, high_s = schedule.duration
    known = "from known accelerations" if schedule.limits_known else "accelerations are a guess: give them in [motion]"
    yield (
        f"takes {planned_words(planned_s)} h as reckoned, and will take {planned_words(low_s)} to"
        f" {planned_words(high_s)} h ({known})"
    )
    counts = ((schedule.lines, "line"), (schedule.moves, "move"), (len(schedule.layers), "layer"))
    changes = _count(schedule.times.tool_changes, "change")
    yield f"{', '.join(_count(number, noun) for number, noun in counts if number)}, {changes} of the tool"
    yield _manifold_fact(plan)
    if schedule.pauses:
        yield f"{_count(len(schedule.pauses), 'stop')} of unknown length, not in the time: {_pauses(schedule)}"


def _manifold_fact(plan: Plan) -> str:
    match plan.manifold_by:
        case ManifoldBy.FILE:
            merge = merge_sensors(plan.build.model.parameters)
            own_c = sorted({it.set_c for it in plan.build.file_changes if it.sensor in merge and it.set_c > 0.0})
            return f"the manifold is set by the file: {own_c[0]:g}{f' to {own_c[-1]:g}' if own_c[1:] else ''} °C"
        case ManifoldBy.OWNER:
            return f"the manifold is taken to be held at {plan.manifold_c:g} °C, as asked for"
        case ManifoldBy.LOWEST:
            return (
                f"the file does not set the manifold: it is taken to be held at {plan.manifold_c:g} °C, the lowest at"
                " which all strands that it uses can feed (--manifold C says otherwise)"
            )
        case ManifoldBy.NOBODY:
            return "the file does not set the manifold, and feeds no strand that is loaded: the manifold stays cold"


def _pauses(schedule: BuildSchedule) -> str:
    shown = schedule.pauses[:SHOWN_ODD]
    told = "; ".join(
        f"{clean_text(it.code)} ({it.kind}) on line {it.line} at {planned_words(it.time_s)}" for it in shown
    )
    more = len(schedule.pauses) - len(shown)
    return f"{told}; and {more} more" if more else told


def _odd(what: str, schedule: BuildSchedule, *, is_note: bool) -> Iterator[str]:
    rows = schedule.notes if is_note else schedule.unknown
    for row in rows[:SHOWN_ODD]:
        first = "" if row.first_line == 0 else f", first on line {row.first_line}"
        times = "" if row.count == 1 else f", {row.count} times"
        yield f"{what}: {clean_text(row.what)}{times}{first}"
    if len(rows) > SHOWN_ODD:
        yield f"{what}: {len(rows) - SHOWN_ODD} more kinds (--json lists them)"


def metres(length_mm: float) -> str:
    """Length of strand.

    >>> metres(250.4), metres(1234.5), metres(2.5e6)
    ('250 mm', '1.23 m', '2,500 m')
    """
    if length_mm < _METRE_MM:
        return f"{length_mm:.0f} mm"
    return f"{length_mm / _METRE_MM:.3g} m" if length_mm < _METRE_MM**2 else f"{length_mm / _METRE_MM:,.0f} m"


def _count(number: int, noun: str) -> str:
    return f"{number:,} {noun}" if number == 1 else f"{number:,} {noun}s"
