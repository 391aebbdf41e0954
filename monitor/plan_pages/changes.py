"""What to change in a build so that all strands survive: the options beside each other, and what to mind.

Owns the wording of the choice between them, and the cautions; `in_full` tells one option in full.
"""

import math
from collections.abc import Iterator

from monitor.core.hot_path import merge_sensors
from monitor.plan_pages.blocks import Block, Heading, Items, Table, Tone, Words
from monitor.plan_pages.in_full import in_full
from monitor.planning.options import Option
from monitor.planning.plan import Plan
from monitor.planning.verdicts import BADNESS, Outcome


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
        "waste: strand fed away from the part, and the time that takes. dose: highest share of a limit. warned: strands"
        " that pass their warn dose on the way, so that a watch would call.",
        Tone.FAINT,
    )
    best = plan.best
    if best is None:
        yield from _nothing_saves(plan)
        best = plan.nearest
    else:
        yield Words(
            f"Marked is what disturbs least of all that save every strand: {best.name}. It is yours to choose another.",
            Tone.GOOD,
        )
    yield from in_full(plan, best, columns)
    safer = None if plan.slow is None else plan.slow.safer
    if safer is not None:
        yield Words("The one that saves every strand even if the build takes as long as it may:", Tone.GOOD)
        yield from in_full(plan, safer, columns)


def _what_remains(plan: Plan) -> Iterator[str]:
    limit_min = plan.build.model.parameters.limits.softening_limit_min
    if any(float(strand.soft_min.max()) > limit_min for strand in plan.nearest.run.strands):
        yield "cool the cold end: strands are soft where they must be stiff (reckoned with cold_end_c of [planning])"
    yield "split the build, and load a strand only for the part that needs it"
    yield "take another material in its place: one that feeds cooler, or bears more (strandwatch materials)"
    yield "turn the part, or arrange parts anew, so that the strand is used more often or for a shorter time"


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
    return (
        "▸" if is_best else "",
        _short_name(option),
        points,
        drawn,
        waste,
        takes,
        share_words(option.risk),
        _comes_to(option),
    )


def _comes_to(option: Option) -> str:
    if option.is_safe:
        return f"survive, {option.warned} warned" if option.warned else "all survive"
    return "faults" if option.faults and BADNESS[option.worst] <= BADNESS[Outcome.SURVIVES] else str(option.worst)


def _short_name(option: Option) -> str:
    """Its name without what stands in the next columns."""
    return ", ".join(part for part in option.name.split(", ") if not part.endswith("withdrawn"))


def _nothing_saves(plan: Plan) -> Iterator[Block]:
    lost = plan.lost_in_all
    if lost:
        are = "is" if len(lost) == 1 else "are"
        yield Words(f"Nothing that was tried saves all: {_inputs(lost)} {are} lost in every option.", Tone.BAD)
    else:
        yield Words("Nothing that was tried saves all at once.", Tone.BAD)
    yield Words("What remains is yours to decide:")
    yield Items(tuple(_what_remains(plan)))
    yield Words(f"Nearest to it comes: {plan.nearest.name}.")


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
