"""Numbers of an assessment in short words: durations, time left, what a strand does.

Owns wording only. Rounds every time down, so that what is left is never made longer.
"""

import math
from typing import Final

from monitor.core.alert_types import Priority
from monitor.core.assessment import Activity, Condition, StrandAssessment
from monitor.core.span import Span
from monitor.core.stall_findings import BalanceSight, StallPattern

_SPEED_FROM_CELLS: Final = 18
_MINUTE_S: Final = 60
_HOUR_S: Final = 3600
_TENTHS_BELOW_S: Final = 10
_SECONDS_BELOW_S: Final = 120
_LONG_S: Final = 100 * _HOUR_S
_WHOLE_HOURS_FROM_S: Final = 10 * _HOUR_S

SYMBOL: Final = {Priority.ALARM: "▲", Priority.WARNING: "◆", Priority.CAUTION: "●"}
"""One shape per priority, so that no colour is needed to tell them apart."""

PRIORITY_OF: Final = {Condition.FAULT: Priority.ALARM, Condition.WARNING: Priority.WARNING}
"""The mark a strand gets when its condition is abnormal and no alert names it."""

STANDS_IN: Final = "~"
"""Before the name of a strand some of whose values are those of another material."""

_SLIPPING: Final = frozenset({StallPattern.SLOW_CLOG, StallPattern.COLD_SKIPPING})

_EXECUTION_HINT: Final = {
    "INTERRUPTED": "held from outside, needs action",
    "PROGRAM_STOPPED": "the build itself asks for action",
    "WAIT": "goes on by itself",
    "PROGRAM_COMPLETED": "build done",
}


def execution_words(state: str | None) -> str:
    """State of the machine's program, with what it asks of the owner.

    >>> execution_words("WAIT"), execution_words(None)
    ('WAIT (goes on by itself)', 'EXECUTION not reported')
    """
    if state is None:
        return "EXECUTION not reported"
    hint = _EXECUTION_HINT.get(state)
    return state if hint is None else f"{state} ({hint})"


def duration(time_s: float) -> str:
    """A length of time, rounded down.

    >>> duration(45.9), duration(3599), duration(3661), duration(40_000), duration(1e6)
    ('45 s', '59 min', '1 h 01 min', '11 h', 'over 99 h')
    """
    if time_s < _MINUTE_S:
        return f"{max(0, int(time_s))} s"
    if time_s < _HOUR_S:
        return f"{int(time_s // _MINUTE_S)} min"
    if time_s < _WHOLE_HOURS_FROM_S:
        return f"{int(time_s // _HOUR_S)} h {int(time_s % _HOUR_S // _MINUTE_S):02d} min"
    return f"{int(time_s // _HOUR_S)} h" if time_s < _LONG_S else "over 99 h"


def age(time_s: float) -> str:
    """Age of a value; with tenths while it is fresh.

    >>> age(0.41), age(75), age(150)
    ('0.4 s', '75 s', '2 min')
    """
    if time_s < _TENTHS_BELOW_S:
        return f"{time_s:.1f} s"
    return f"{int(time_s)} s" if time_s < _SECONDS_BELOW_S else duration(time_s)


def temperature(temp_c: float | None) -> str:
    """A temperature without decimals; a dash when it was never reported.

    >>> temperature(194.6), temperature(None)
    ('195 °C', '– °C')
    """
    return "– °C" if temp_c is None else f"{temp_c:.0f} °C"


def activity(strand: StrandAssessment, cells: int) -> str:
    """What the strand does, and for how long it has stood, in `cells` cells where that is possible."""
    if strand.activity is Activity.FEEDING and strand.stall is not None:
        return f"feeding, {stall_word(strand)}"
    if strand.activity is Activity.FEEDING:
        return "feeding" if cells < _SPEED_FROM_CELLS else f"feeding {strand.feed_mm_s:.1f} mm/s"
    if strand.fed_mm is None:
        return "feed unknown"
    word = strand.activity.value
    if strand.idle_low_s is None:
        return f"{word} {duration(strand.idle_s)}"
    low_s, high_s = strand.idle_low_s, strand.idle_s
    if duration(low_s) == duration(high_s):
        return f"{word} {duration(high_s)}"
    text = f"{word} {duration(low_s)} to {duration(high_s)}"
    return text if len(text) <= cells else f"{word} {_coarse_range(low_s, high_s)}"


def stall_word(strand: StrandAssessment) -> str:
    """In a word, that the strand does not move as it should: it still slips through, or it does not; else nothing."""
    if strand.stall is None:
        return ""
    return "slips" if strand.stall.pattern in _SLIPPING else "STUCK"


def next_use(strand: StrandAssessment) -> str:
    """When the plan of the build has the strand fed next."""
    if strand.next_use_s is None:
        return "–" if strand.activity is not Activity.FEEDING else "now"
    return "never" if math.isinf(strand.next_use_s) else duration(strand.next_use_s)


def _coarse_range(low_s: float, high_s: float) -> str:
    """A range in whole units, rounded outwards.

    >>> _coarse_range(720, 8000), _coarse_range(4000, 8000), _coarse_range(1799, 3599), _coarse_range(12, 3541)
    ('12 min–3 h', '1–3 h', '29–60 min', '12 s–60 min')
    """
    (low_per_s, low_unit), (high_per_s, high_unit) = _unit_of(low_s), _unit_of(high_s)
    low, high = math.floor(low_s / low_per_s), math.ceil(high_s / high_per_s)
    return f"{low}–{high} {high_unit}" if low_unit == high_unit else f"{low} {low_unit}–{high} {high_unit}"


def _unit_of(time_s: float) -> tuple[int, str]:
    units = ((_HOUR_S, "h"), (_MINUTE_S, "min"))
    return next(((per_s, unit) for per_s, unit in units if time_s >= per_s), (1, "s"))


def share_of_limit(strand: StrandAssessment) -> str:
    """Dose in percent of its limit; a range where a gap in the data leaves it open."""
    if strand.dose_low_min is None:
        return f"{strand.dose_share:.0%}"
    low, high = f"{strand.dose_low_min / strand.dose_limit_min:.0%}", f"{strand.dose_share:.0%}"
    return high if low == high else f"{low.removesuffix('%')}–{high}"


def next_mark(strand: StrandAssessment) -> tuple[str, Span]:
    """The dose mark that comes next, and the time until it: `warn` until that is passed, then `limit`."""
    return ("warn", strand.warn_left_s) if strand.warn_left_s.low > 0 else ("limit", strand.limit_left_s)


def time_left(strand: StrandAssessment) -> str:
    """Time until the next dose mark if nothing changes: the cautious end of its range."""
    mark, span = next_mark(strand)
    if strand.activity is Activity.FEEDING and stall_word(strand) == "STUCK":
        return "not sure: STUCK"
    if span.low <= 0:
        return "limit passed"
    return "no limit ahead" if math.isinf(span.low) else f"{mark} {duration(span.low)}"


def time_left_range(strand: StrandAssessment) -> str:
    """As `time_left`, with the hopeful end of the range behind it where there is one."""
    _, span = next_mark(strand)
    if span.low <= 0 or math.isinf(span.low):
        return time_left(strand)
    high = "no limit" if math.isinf(span.high) else duration(span.high)
    return time_left(strand) if high == duration(span.low) else f"{time_left(strand)} – {high}"


def soft_front(strand: StrandAssessment) -> str:
    """How far the strand is soft, against where it must be stiff."""
    return f"{strand.soft_front_mm:.0f} of {strand.stiff_from_mm:.0f} mm"


def name_of(strand: StrandAssessment) -> str:
    """What the owner calls the strand: its label, else its material; marked where another material stands in."""
    return (STANDS_IN if strand.stand_in else "") + (strand.label or strand.material)


def full_name_of(strand: StrandAssessment) -> str:
    """Label and material; marked as `name_of` does."""
    return f"{name_of(strand)} ({strand.material})" if strand.label else name_of(strand)


def stand_in_words(strand: StrandAssessment) -> str:
    """What is borrowed for the strand, and of whom; empty when nothing is."""
    if not strand.stand_in:
        return ""
    return (
        f"input {strand.input}: {strand.stand_in} stands in for {strand.material} in {', '.join(strand.stand_in_for)}"
    )


def balance_words(sight: BalanceSight) -> str:
    """What the heater's power can show of strands that nothing else sees move."""
    inputs = f"input{'s' * (len(sight.inputs) > 1)} {', '.join(map(str, sight.inputs))}"
    if sight.least_mm is None:
        name = f"{sight.heater}: " if sight.heater else ""
        return f"no stall of {inputs} can be seen: {name}{sight.why_not}"
    stop = f"a strand that stops shows after about {sight.least_mm:.0f} mm"
    return f"{inputs}: seen by {sight.heater} alone; {stop}, less than {sight.least_share:.0%} lost never"
