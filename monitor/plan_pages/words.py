"""A plan told block by block: the answer first, then the file, the strands, the verdicts, the picture, what to change.

Owns the order, and the wording of what comes of the strands; `file_words` tells the file, `changes` what to
change. All text that comes from outside passes `clean_text` here or where it was read.
"""

from collections.abc import Iterable, Iterator
from typing import Final

from connectors.clean_text import clean_text
from monitor.build_file.schedule import InputPlan
from monitor.core.parameters import Strand
from monitor.plan_pages.blocks import Block, Heading, Items, Table, Timeline, Tone, Words
from monitor.plan_pages.changes import cautions, change_blocks, share_words
from monitor.plan_pages.file_words import file_blocks, metres
from monitor.plan_pages.strip import strip_of
from monitor.planning.clock_words import planned_words
from monitor.planning.options import Option
from monitor.planning.plan import Plan
from monitor.planning.verdicts import BADNESS, Outcome, Verdict

_SHOWN_TOOLS: Final = 8
_SHORTEST_GAP_S: Final = 60.0

TONES: Final = {
    Outcome.UNUSED: Tone.FAINT,
    Outcome.SURVIVES: Tone.GOOD,
    Outcome.PURGE: Tone.MILD,
    Outcome.WITHDRAW: Tone.MILD,
    Outcome.LOST: Tone.BAD,
}
MARKS: Final = {
    Outcome.UNUSED: "·",
    Outcome.SURVIVES: "·",
    Outcome.PURGE: "◆",
    Outcome.WITHDRAW: "◆",
    Outcome.LOST: "▲",
}


def plan_blocks(plan: Plan, file_name: str, columns: int, notes: Iterable[str] = ()) -> Iterator[Block]:
    """All of it; `columns` is how finely timelines are cut, `notes` are told beside the cautions."""
    machine = clean_text(plan.build.model.parameters.machine)
    yield Heading(f"Plan of {clean_text(file_name)} on {machine}", 1)
    yield from _answer(plan)
    yield from file_blocks(plan)
    yield from _schedule_blocks(plan)
    yield Heading("What comes of each strand, as planned")
    yield from verdict_blocks(plan, plan.as_planned)
    yield Timeline("The strands over the hours, as planned", strip_of(plan.build, plan.as_planned, columns))
    yield from change_blocks(plan, columns)
    yield Heading("Cautions")
    yield Items((*cautions(plan), *notes))


def name_of(strand: Strand) -> str:
    """What the owner calls a strand."""
    return clean_text(strand.label or strand.material.name)


def _answer(plan: Plan) -> Iterator[Words]:
    """The answer in a sentence or two."""
    in_trouble = _trouble(plan.as_planned)
    if plan.survives:
        yield Words("Every strand survives this build as planned.", Tone.GOOD)
    elif in_trouble:
        yield Words(f"Not all strands survive this build as planned: input {in_trouble}.", Tone.BAD)
    else:
        yield Words("This build does not work as planned; the strands themselves survive it.", Tone.BAD)
    yield from (Words(f"Input {number} feeds {metres(mm)}, but no strand is loaded there.", Tone.BAD)
                for number, mm in plan.unloaded)  # fmt: skip
    if plan.build.schedule.unassigned_mm > 0.0:
        yield Words(_unassigned(plan), Tone.BAD)
    yield from (Words(f"{fault[:1].upper()}{fault[1:]}.", Tone.BAD) for fault in plan.as_planned.faults)
    best = plan.best
    if best is not None and best is not plan.as_planned:
        yield Words(f"What saves all: {best.name}; told in full below.", Tone.GOOD)
    yield from _slow_words(plan)


def _slow_words(plan: Plan) -> Iterator[Words]:
    """What comes of it if the build takes as long as it may."""
    slow = plan.slow
    if slow is None or plan.lacks_strand:
        return
    length = f"it takes {planned_words(slow.length_s)} h, as long as it may"
    how = "as planned" if slow.option is plan.as_planned else "with that"
    if slow.then.is_safe:
        yield Words(f"Even if {length}, all survive {how}.", Tone.GOOD)
        return
    safer = "" if slow.safer is None else f" With {slow.safer.name} they do even then."
    yield Words(f"But if {length}, not all survive {how}: input {_trouble(slow.then)}.{safer}", Tone.MILD)


def _trouble(option: Option) -> str:
    """Inputs whose strands do not just survive, and what comes of them."""
    return ", ".join(
        f"{it.input} ({it.outcome})" for it in option.verdicts if BADNESS[it.outcome] > BADNESS[Outcome.SURVIVES]
    )


def _unassigned(plan: Plan) -> str:
    schedule, heaters = plan.build.schedule, plan.build.settings.tool_sensors
    tools = [f"T{tool}" for tool, mix in schedule.tools.items() if not mix and tool not in heaters]
    which = f" ({', '.join(tools[:_SHOWN_TOOLS])})" if tools else ""
    return (
        f"Tools of which no input is known{which} feed {metres(schedule.unassigned_mm)}: no strand is planned for"
        " that. Say in the profile which input they feed: [motion.input_of_tool], [[inputs]]."
    )


def _schedule_blocks(plan: Plan) -> Iterator[Block]:
    heads = ("in", "strand", "feeds", "first", "last", "longest gap", "after its last use")
    rows = tuple(
        _schedule_row(strand, plan.build.schedule.of_input(strand.input), plan.build.schedule.duration.planned_s)
        for strand in plan.build.model.parameters.strands
    )
    yield Heading("Who feeds when, in hours from the start")
    yield Table(heads, rows, wide=1, right=(0, 2, 3, 4))


def _schedule_row(strand: Strand, plan: InputPlan | None, length_s: float) -> tuple[str, ...]:
    number, name = str(strand.input), name_of(strand)
    if plan is None or plan.new_mm <= 0.0:
        return number, name, "–", "–", "–", "–", "never used"
    gap = (
        f"{planned_words(plan.gap_s)} from {planned_words(plan.gap_start_s)}" if plan.gap_s >= _SHORTEST_GAP_S else "–"
    )
    left_s = length_s - plan.last_s
    after = f"{planned_words(left_s)} to the end" if left_s >= _SHORTEST_GAP_S else "–"
    return number, name, metres(plan.new_mm), planned_words(plan.first_s), planned_words(plan.last_s), gap, after


def verdict_blocks(plan: Plan, option: Option) -> Iterator[Block]:
    """What comes of each strand in an option."""
    strands = {strand.input: strand for strand in plan.build.model.parameters.strands}
    rows = tuple(_verdict_row(strands[verdict.input], verdict) for verdict in option.verdicts)
    heads = ("", "in", "strand", "verdict", "dose", "why")
    yield Table(heads, rows, wide=5, right=(1, 4), tones=tuple(TONES[verdict.outcome] for verdict in option.verdicts))
    yield Words("dose: the highest that matters, as a share of the strand's limit.", Tone.FAINT)


def _verdict_row(strand: Strand, verdict: Verdict) -> tuple[str, ...]:
    share = "–" if verdict.outcome is Outcome.UNUSED else share_words(verdict.share)
    return MARKS[verdict.outcome], str(verdict.input), name_of(strand), _short(verdict), share, _why(verdict)


def _short(verdict: Verdict) -> str:
    if verdict.outcome is Outcome.PURGE and verdict.purges:
        most_mm = max(purge.length_mm for purge in verdict.purges)
        return f"purge {most_mm:.0f} mm before use"
    return str(verdict.outcome)


def _why(verdict: Verdict) -> str:
    at = f"{planned_words(verdict.when_s)}: " if verdict.when_s is not None and verdict.outcome is Outcome.LOST else ""
    return f"{at}{verdict.why}"
