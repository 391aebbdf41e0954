"""What to change in a build so that all strands survive: the options beside each other, and one of them in full.

Owns the wording of set points, withdrawals, purges and small moves, and the cautions that go with them. Reckons only
what is needed to say it.
"""

import math
from collections.abc import Iterator
from itertools import groupby, pairwise
from typing import Final

from monitor.core.advice_texts import WITHDRAW_MM_S
from monitor.core.aged_part import whole_mm
from monitor.core.hot_path import merge_sensors
from monitor.core.typed_lines import LINES_NOTE, feed_lines
from monitor.plan_blocks import Block, Heading, Items, Table, Timeline, Tone, Typed, Words
from monitor.plan_places import manifold_lines, place_of, set_point_line
from monitor.plan_strip import strip_of
from monitor.planning.clock_words import planned_words
from monitor.planning.course import Advance
from monitor.planning.grams import grams_of
from monitor.planning.options import Build, Option
from monitor.planning.plan import Plan
from monitor.planning.verdicts import Outcome

SHOWN_LINES: Final = 12
"""So many lines of the file's own set points are named."""


def change_blocks(plan: Plan, columns: int) -> Iterator[Block]:
    """Options and the cheapest in full; nothing where nothing has to change."""
    unused = [it.input for it in plan.as_planned.verdicts if it.outcome is Outcome.UNUSED]
    if len(plan.tried) > 1 or unused:
        yield Heading("What to change")
    if unused:
        yield Words(
            f"{_inputs(unused)} need not be loaded: the build never feeds {'it' if len(unused) == 1 else 'them'}."
        )
    if len(plan.tried) == 1:
        return
    yield _option_table(plan)
    yield Words(
        "waste: strand fed away from the part, and the time that takes. dose: highest share of a limit.", Tone.FAINT
    )
    best = plan.best
    if best is None:
        yield from _nothing_saves(plan)
        best = plan.nearest
    else:
        yield Words(f"The least waste that saves every strand: {best.name}. It is yours to choose another.", Tone.GOOD)
    yield from _in_full(plan, best)
    yield Timeline(f"The strands with it: {best.name}", strip_of(plan.build, best, columns))


def _option_table(plan: Plan) -> Table:
    heads = ("", "option", "set points", "drawn", "waste", "takes", "dose", "comes to")
    best = plan.best
    rows = tuple(_option_row(option, is_best=option is best) for option in plan.tried)
    tones = tuple(Tone.GOOD if option is best else Tone.PLAIN for option in plan.tried)
    return Table(heads, rows, wide=1, right=(2, 4, 5, 6), tones=tones)


def _option_row(option: Option, *, is_best: bool) -> tuple[str, ...]:
    changes = option.changes
    points = str(len(changes.set_points)) if changes.set_points else "–"
    drawn = ", ".join(map(str, sorted(changes.withdrawn_s))) or "–"
    waste = f"{option.waste_g:.2g} g" if changes.advances else "–"
    takes = f"{math.ceil(option.waste_s / 60)} min" if changes.advances else "–"
    comes_to = "all survive" if option.is_safe else "too hot" if option.faults else str(option.worst)
    return "▸" if is_best else "", _short_name(option), points, drawn, waste, takes, share_words(option.risk), comes_to


def _short_name(option: Option) -> str:
    """Its name without what stands in the next columns."""
    return ", ".join(part for part in option.name.split(", ") if not part.endswith("withdrawn"))


def _nothing_saves(plan: Plan) -> Iterator[Block]:
    lost = plan.lost_in_all
    if lost:
        yield Words(f"Nothing that was tried saves all: {_inputs(lost)} lost in every option.", Tone.BAD)
    else:
        yield Words("Nothing that was tried saves all at once.", Tone.BAD)
    yield Words("What remains is yours to decide:")
    yield Items(
        (
            "split the build, and load a strand only for the part that needs it",
            "take another material in its place: one that feeds cooler, or bears more (strandwatch materials)",
            "turn the part, or arrange parts anew, so that the strand is used more often or for a shorter time",
        )
    )
    yield Words(f"Nearest to it comes: {plan.nearest.name}.")


def _in_full(plan: Plan, option: Option) -> Iterator[Block]:
    yield Heading(f"In full: {option.name}", 3)
    yield from _set_points(plan.build, option)
    yield from _withdrawals(plan, option)
    yield from _advances(plan.build, option)
    left = [f"input {it.input}: {it.outcome}; {it.why}" for it in option.verdicts if it.outcome is Outcome.LOST]
    if left:
        yield Words("Lost with it all the same:", Tone.BAD)
        yield Items(tuple(left))


def _set_points(build: Build, option: Option) -> Iterator[Block]:
    points = option.changes.set_points
    if not points:
        return
    yield Words(f"Set points of {build.manifold}, with the planned time and about where that is in the file:")
    lines = [(point, set_point_line(build, point.set_c)) for point in points]
    rows = tuple(
        (f"{point.set_c:g} °C", text or "–", place_of(build.schedule, point.time_s).words()) for point, text in lines
    )
    yield Table(("set point", "insert", "when"), rows, wide=2)
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


def cautions(plan: Plan) -> Iterator[str]:
    """What to mind with any plan."""
    merge = merge_sensors(plan.build.model.parameters)
    if len(merge) > 1:
        yield f"The manifold's wall depends on {' and '.join(merge)}: set points are planned for {merge[0]} alone."
    yield "Dose limits are judgement, uncertain by a factor of three or so: keep away from 100 %."
    yield "Planned times are uncertain too; what is done by the clock is done early rather than late."
    if plan.build.schedule.pauses:
        yield "Every stop of unknown length ages what stands: watch the build, do not leave it to the plan."
    ruled = [it.input for it in plan.build.model.parameters.strands if it.material.min_feed_is_rule]
    if ruled:
        yield f"How cool {_inputs(ruled)} may be and still feed is a rule of thumb: try it before you rely on it."
    wet = [it.input for it in plan.build.model.parameters.strands if it.wet_factor > 1.0]
    if wet:
        yield f"Not known to be dry, and so reckoned to age faster: {_inputs(wet)} (dried = true in the profile)."
    yield "Hot parts, hot melt; ventilate. Keep the machine's own thermal protection working."
    yield "Nothing was sent to the machine, and the file was not changed: strandwatch only reads and advises."


def share_words(share: float) -> str:
    """A share of a limit; far beyond it nobody wants digits.

    >>> share_words(0.42), share_words(213.0)
    ('42%', '>999%')
    """
    most = 9.995
    return f"{share:.0%}" if share < most else ">999%"


def _inputs(numbers: list[int] | tuple[int, ...]) -> str:
    """The inputs, as the beginning of a sentence or within one."""
    return f"input{'s' * (len(numbers) > 1)} {', '.join(map(str, numbers))}"
