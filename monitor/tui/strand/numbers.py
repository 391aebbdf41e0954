"""What is known of one strand, in lines of numbers with what they are held against."""

import math
from collections.abc import Iterator
from typing import Final

from monitor.core.assessment import StrandAssessment
from monitor.core.span import Span as Range
from monitor.tui.columns import NEXT_USE
from monitor.tui.dose_bar import dose_bar
from monitor.tui.ink import DIM, PLAIN, Line, Span, hanging
from monitor.tui.words import activity, duration, next_use, share_of_limit, soft_front

_BAR_CELLS: Final = 20
_LEAST_SLIP: Final = 0.005
_NO_MARK: Final = "passed"


def number_lines(strand: StrandAssessment, width: int, *, doubtful: bool) -> list[Line]:
    """A line for each thing known, the most pressing first; dim and with a question mark where it is not of now."""
    lines: list[Line] = []
    for head, text in _facts(strand):
        first, *rest = hanging(f"  {head + '?' * doubtful:<6} ", text, width, DIM if doubtful else PLAIN)
        lines += [(Span(first[0].text, DIM), *first[1:]), *rest]
    return lines


def _facts(strand: StrandAssessment) -> Iterator[tuple[str, str]]:
    yield "left", _left(strand)
    yield "dose", _dose(strand)
    yield "soft", _soft(strand)
    yield "wall", _wall(strand)
    yield "feed", _feed(strand)
    if strand.stall is not None:
        yield "stall", f"{strand.stall.pattern.value}: {'; '.join(strand.stall.evidence)}"


def _left(strand: StrandAssessment) -> str:
    marks = (("warn", strand.warn_left_s), ("limit", strand.limit_left_s))
    doubt = f"; least sure: the {strand.doubt}" if strand.doubt else ""
    return "; ".join(f"{mark} {_range(span)}" for mark, span in marks) + doubt


def _range(span: Range) -> str:
    if span.low <= 0:
        return _NO_MARK
    if math.isinf(span.low):
        return "not ahead"
    high = "never" if math.isinf(span.high) else duration(span.high)
    low = duration(span.low)
    return f"in {low}" if high == low else f"in {low} to {high}"


def _dose(strand: StrandAssessment) -> str:
    bar = dose_bar(strand.dose_now_min, strand.dose_warn_min, strand.dose_limit_min, _BAR_CELLS, strand.dose_low_min)
    return (
        f"{bar} {strand.dose_now_min:.0f} min at {strand.reference_c:.0f} °C; warn {strand.dose_warn_min:.0f},"
        f" limit {strand.dose_limit_min:.0f}; {share_of_limit(strand)}"
    )


def _soft(strand: StrandAssessment) -> str:
    return (
        f"{soft_front(strand)} up; where it must be stiff {strand.softening_min:.0f} min,"
        f" warn {strand.softening_warn_min:.0f}, limit {strand.softening_limit_min:.0f}"
    )


def _wall(strand: StrandAssessment) -> str:
    rule = " (rule of thumb)" if strand.min_feed_is_rule else ""
    return (
        f"{strand.merge_wall_c:.0f} °C; feeds from {strand.min_feed_c:.0f} °C{rule};"
        f" hottest {strand.hottest_c:.0f}, glass {strand.glass_c:.0f} °C"
    )


def _feed(strand: StrandAssessment) -> str:
    fed = "" if strand.fed_mm is None else f"; {strand.fed_mm / 1000:.2f} m fed"
    worst = max((seen.slip for seen in strand.flow_slip), default=None)
    slip = "" if worst is None or worst < _LEAST_SLIP else f"; slip up to {worst:.1%}"
    use = "" if strand.next_use_s is None else f"; {NEXT_USE}: {next_use(strand)}"
    return f"{activity(strand, 40)}{fed}{slip}{use}"
