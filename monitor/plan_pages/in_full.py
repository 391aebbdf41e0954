"""One option in full: set points with their lines in the file, withdrawals, what is fed into waste, the timeline.

Owns that wording. Reckons only what is needed to say it.
"""

from collections.abc import Iterator
from itertools import groupby, pairwise
from typing import Final

from monitor.core.advice_texts import WITHDRAW_MM_S
from monitor.core.aged_part import whole_mm
from monitor.core.typed_lines import LINES_NOTE, feed_lines
from monitor.plan_pages.blocks import Block, Heading, Items, Table, Timeline, Tone, Typed, Words
from monitor.plan_pages.places import manifold_lines, place_of, set_point_line
from monitor.plan_pages.strip import strip_of
from monitor.planning.clock_words import planned_words
from monitor.planning.course import Advance
from monitor.planning.grams import grams_of
from monitor.planning.options import Build, Option
from monitor.planning.plan import Plan
from monitor.planning.verdicts import BADNESS, Outcome, Verdict

SHOWN_LINES: Final = 12
"""So many lines of the file's own set points are named."""


def in_full(plan: Plan, option: Option, columns: int) -> Iterator[Block]:
    """All of an option; `columns` is how finely its timeline is cut."""
    yield Heading(f"In full: {option.name}", 3)
    yield from _set_points(plan.build, option)
    yield from _withdrawals(plan, option)
    yield from _advances(plan.build, option)
    left = [*option.faults, *(_left(verdict) for verdict in option.verdicts if _is_in_trouble(verdict))]
    if left:
        yield Words("What it leaves undone:", Tone.BAD)
        yield Items(tuple(left))
    yield Timeline(f"The strands with it: {option.name}", strip_of(plan.build, option, columns))


def _is_in_trouble(verdict: Verdict) -> bool:
    return BADNESS[verdict.outcome] > BADNESS[Outcome.SURVIVES]


def _left(verdict: Verdict) -> str:
    return f"input {verdict.input}: {verdict.outcome}; {verdict.why}"


def _set_points(build: Build, option: Option) -> Iterator[Block]:
    points = option.changes.set_points
    if not points:
        return
    yield Words(f"Set points of {build.manifold}, with the planned time and about where that is in the file:")
    lines = [(point, set_point_line(build, point.set_c)) for point in points]
    rows = tuple(
        (f"{point.set_c:g} °C", text or "–", place_of(build.schedule, point.time_s).words()) for point, text in lines
    )
    yield Table(("set to", "insert", "when"), rows, wide=2)
    own = manifold_lines(build)
    if own:
        more = f" and {len(own) - SHOWN_LINES} more" if len(own) > SHOWN_LINES else ""
        yield Words(
            f"Take out the file's own: line{'s' * (len(own) > 1)} {', '.join(map(str, own[:SHOWN_LINES]))}{more}."
        )
    if lines[0][1] is None:
        yield Words(
            "The profile gives this heater no tool number (tool = … in its [[heaters]]), so no line is written out."
        )
    else:
        yield Words(
            "Put each before a line that moves. The letters are common practice and differ from machine to machine."
        )


def _withdrawals(plan: Plan, option: Option) -> Iterator[Block]:
    withdrawn = option.changes.withdrawn_s
    if not withdrawn:
        return
    length_mm = whole_mm(plan.build.model.parameters.path_length_mm)
    yield Words("Withdraw after the last use, with the build paused and the path hot, and cut off what was soft:")
    yield Items(tuple(_withdrawal(plan, option, number, after_s, length_mm) for number, after_s in withdrawn.items()))
    yield Typed(feed_lines(-length_mm, WITHDRAW_MM_S))
    yield Words(LINES_NOTE, Tone.FAINT)


def _withdrawal(plan: Plan, option: Option, number: int, after_s: float, length_mm: float) -> str:
    known = next(it.withdraw_by_s for it in plan.as_planned.verdicts if it.input == number)
    by = "" if known is None else f" and before {planned_words(known[1])}, when it passes its warn dose as planned"
    where = place_of(plan.build.schedule, after_s)
    text = f"input {number}: after {where.words()}{by}: by {length_mm:.0f} mm"
    material = next(it.material for it in plan.build.model.parameters.strands if it.input == number)
    softens_c = material.glass_c if material.melt_c is None else material.melt_c
    hot_c = float(option.run.merge_c[(option.run.times_s >= after_s).argmax()])
    return text if hot_c > softens_c else f"{text}, the manifold heated above {softens_c:.0f} °C for it"


def _advances(build: Build, option: Option) -> Iterator[Block]:
    advances = sorted(option.changes.advances, key=lambda it: (it.input, it.length_mm, it.time_s))
    if not advances:
        return
    yield Words("Feed into waste, away from the part:")
    groups = groupby(advances, key=lambda it: (it.input, it.length_mm))
    yield Items(tuple(_group(build, list(group)) for _, group in groups))


def _group(build: Build, group: list[Advance]) -> str:
    first, last = group[0], group[-1]
    mass_g = grams_of(build.model.parameters, group)
    start = f"input {first.input}: {first.length_mm:.0f} mm"
    if len(group) == 1:
        return f"{start} at {place_of(build.schedule, first.time_s).words()} ({mass_g:.2g} g)"
    least_s = min(later.time_s - earlier.time_s for earlier, later in pairwise(group))
    return (
        f"{start}, {len(group)} times from {planned_words(first.time_s)} to {planned_words(last.time_s)}, at the"
        f" closest every {planned_words(least_s)} h ({mass_g:.2g} g in all)"
    )
