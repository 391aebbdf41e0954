"""Stall flags of one drive: a CUSUM of counted events, per millimetre fed.

Owns how flags are counted and when they say enough by themselves. A driver now and then flags for nothing, so one flag
is none; several within few millimetres are: see stalls.md for the probabilities. Knows nothing of encoders.
"""

from typing import Final, NamedTuple

from monitor.core.cusum import ZERO, CusumState, grown
from monitor.core.stall_law import StallLaw
from monitor.core.stall_types import FeedReading

APART_MM: Final = 1.0  # a flag that stays up counts again after this much feed: it is one fault, however often reported


class Flags(NamedTuple):
    """Flags so far."""

    raised: CusumState = ZERO
    at_mm: float | None = None  # feed at the last one counted
    times: int = 0  # counted since the sum was zero
    are_reported: bool = False


def advance_flags(law: StallLaw, old: Flags, reading: FeedReading, high_mm: float, fed_mm: float) -> Flags:
    """Flags after a reading that fed `fed_mm`, up to `high_mm` of commanded feed."""
    flag = reading.stall_flag
    if flag is None and not old.are_reported:
        return old
    counts = bool(flag) and (old.at_mm is None or high_mm - old.at_mm >= APART_MM)
    if not counts and old.raised.total == 0.0:
        return old if old.are_reported else old._replace(are_reported=True)
    raised = grown(old.raised, float(counts), law.flag_allowance_per_mm, fed_mm)
    times = old.times + counts if raised.total > 0.0 else 0
    return Flags(raised, high_mm if counts else old.at_mm, times, are_reported=True)


def capped(law: StallLaw, flags: Flags) -> Flags:
    """Flags with a sum no higher than its limit, so that their alarm clears within a known feed."""
    if flags.raised.total <= law.flag_limit:
        return flags
    return flags._replace(raised=CusumState(law.flag_limit, flags.raised.since))


def is_stalled(law: StallLaw, flags: Flags) -> bool:
    """Whether the flags alone are enough."""
    return flags.raised.total > law.flag_limit
