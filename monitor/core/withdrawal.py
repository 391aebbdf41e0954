"""How far a strand may be drawn back, and whether it may be drawn back at all as hot as its tip is now.

A tip that comes up soft sets in the cold end: it must be cut off. One that has set holds fast to what lies at the merge
point. And a strand that is soft where it should be stiff necks or tears. Knows nothing of words.
"""

from enum import Enum, auto
from typing import NamedTuple

from monitor.core.aged_part import aged_mm, whole_mm
from monitor.core.assessment import StrandAssessment
from monitor.core.field import Field
from monitor.core.field_state import BEFORE_PATH, FieldState


class Tip(Enum):
    """What the strand's hot end allows."""

    SOFT = auto()  # it can be drawn, and must be cut
    SET = auto()  # it holds fast
    WEAK_STRAND = auto()  # the strand would neck where it must be stiff


class Withdrawal(NamedTuple):
    """How far, and why not.

    `length_mm` takes the tip out of the path, where it can be cut; `out_of_heat_mm` is where it is below its glass
    transition; of the strand, `cut_mm` has been soft or has aged.
    """

    tip: Tip
    tip_c: float
    softens_c: float  # the tip is soft above: melting temperature, or glass transition of an amorphous strand
    cold_side_c: float
    length_mm: float
    out_of_heat_mm: float
    cut_mm: float


def withdrawal(field: Field, state: FieldState, strand: int, known: StrandAssessment) -> Withdrawal:
    """Judge one strand; `known` is what was assessed of it at this moment."""
    material = field.strands[strand].material
    softens_c = material.glass_c if material.melt_c is None else material.melt_c
    tip_c, cold_side_c = float(state.temp_c[strand, BEFORE_PATH]), state.walls.cold_side_c
    path_mm = field.grid.cells * field.grid.cell_mm
    aged_to_mm = min(path_mm, aged_mm(field, state, strand, material.warn_min / 2))
    return Withdrawal(
        tip=_tip(tip_c, softens_c, is_weak=cold_side_c > material.glass_c),
        tip_c=tip_c,
        softens_c=softens_c,
        cold_side_c=cold_side_c,
        length_mm=whole_mm(path_mm),
        out_of_heat_mm=whole_mm(known.soft_front_mm),
        cut_mm=whole_mm(max(known.soft_front_mm, aged_to_mm)),
    )


def _tip(tip_c: float, softens_c: float, *, is_weak: bool) -> Tip:
    if is_weak:
        return Tip.WEAK_STRAND
    return Tip.SOFT if tip_c > softens_c else Tip.SET
