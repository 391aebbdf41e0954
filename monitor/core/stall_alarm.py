"""An alarm that stands: where the loss began, what was known when it was raised, and what has been fed since.

Owns the record from alarm to recovery. Knows nothing of patterns or words.
"""

from typing import Final, NamedTuple

from monitor.core.span import Span
from monitor.core.stall_flags import Flags
from monitor.core.stall_habit import Habit
from monitor.core.stall_law import TESTS, StallLaw
from monitor.core.stall_ledger import Ledger, bounded_error_mm
from monitor.core.stall_trace import Share, Trace
from monitor.core.stall_types import Detector

SETTLE_MM: Final = 15.0  # feed after the alarm on which the pattern is settled
_NO_FEED: Final = Share()


class After(NamedTuple):
    """The first millimetres of feed after the alarm."""

    feed: Share = _NO_FEED
    sensed_mm: Span | None = None  # between which values the encoder moved, retractions included
    flags: int = 0

    @property
    def moved_mm(self) -> float:
        """How far the encoder moved, whichever way [mm]."""
        return 0.0 if self.sensed_mm is None else self.sensed_mm.high - self.sensed_mm.low

    @property
    def is_over(self) -> bool:
        """Whether enough was fed to settle the pattern."""
        return self.feed.fed_mm >= SETTLE_MM


_NOTHING_AFTER: Final = After()
_NO_HABIT: Final = Habit()


class Alarm(NamedTuple):
    """One alarm; lengths in commanded feed."""

    detector: Detector
    at_mm: float
    onset_mm: Span
    since_mm: float  # from the last zero of the sum that shows the onset best
    lost_mm: float  # beyond healthy slip, so far
    moved_mm: float  # sensed from that zero to the alarm
    slow_mm: float  # how long the slow sum had been above zero
    slow_lost_mm: float  # and what was lost over it
    fed_in_turn_mm: float  # since the strand was taken up
    hot_idle_s: float
    flags: int  # counted up to the alarm
    trace: Trace  # at the last counted reading, until the pattern is settled
    after: After = _NOTHING_AFTER
    habit: Habit = _NO_HABIT  # what the strand was used to until then


def raised_by_ledger(law: StallLaw, ledger: Ledger, index: int, trace: Trace, flags: Flags, idle_s: float) -> Alarm:
    """Alarm by the test with this index."""
    shown = _best_for_onset(ledger, index)
    allowance = _allowances(law, ledger)[shown]
    missing, peak_mm_s = ledger.balances[shown]
    lost_mm = missing.total + allowance * missing.since
    slow = ledger.balances[2].missing
    at_mm = ledger.high_mm
    return Alarm(
        TESTS[index],
        at_mm,
        _onset(at_mm, missing.total, missing.since, allowance, bounded_error_mm(law, ledger.baseline, peak_mm_s)),
        missing.since,
        lost_mm,
        max(0.0, missing.since - lost_mm),
        slow.since,
        slow.total + _allowances(law, ledger)[2] * slow.since,
        at_mm - ledger.taken_up_mm,
        idle_s,
        flags.times,
        trace,
    )


def raised_by_flags(ledger: Ledger, trace: Trace, flags: Flags, idle_s: float) -> Alarm:
    """Alarm by the driver's flags alone; nothing is known of what was lost."""
    at_mm, since_mm = ledger.high_mm, flags.raised.since
    nan = float("nan")
    in_turn_mm = at_mm - ledger.taken_up_mm
    onset = Span(at_mm - 2.0 * since_mm, at_mm - since_mm)  # the first flag came within such a stretch of the onset
    return Alarm(Detector.FLAGS, at_mm, onset, since_mm, nan, nan, 0.0, 0.0, in_turn_mm, idle_s, flags.times, trace)


def followed(alarm: Alarm, ledger: Ledger, trace: Trace, sensed_mm: float | None, flags: int) -> Alarm:
    """Alarm after one more reading."""
    step, after = ledger.step, alarm.after
    lost_mm = alarm.lost_mm + step.lost_mm
    if after.is_over:
        return alarm if step.fed_mm == 0.0 else alarm._replace(lost_mm=lost_mm)
    after = After(
        Share(after.feed.fed_mm + step.fed_mm, after.feed.lost_mm + step.lost_mm),
        after.sensed_mm if sensed_mm is None or ledger.odd_mm is not None else _widened(after.sensed_mm, sensed_mm),
        after.flags + flags,
    )
    return alarm._replace(lost_mm=lost_mm, after=after, trace=trace)


def _widened(span: Span | None, value: float) -> Span:
    return Span(value, value) if span is None else Span(min(span.low, value), max(span.high, value))


def _best_for_onset(ledger: Ledger, index: int) -> int:
    """The fastest test that has at least half of the alarming sum: it forgets what lay before the onset soonest."""
    half_mm = ledger.balances[index].missing.total / 2.0
    return next(j for j, balance in enumerate(ledger.balances) if balance.missing.total >= half_mm)


def _allowances(law: StallLaw, ledger: Ledger) -> tuple[float, float, float]:
    return (law.limits if ledger.baseline.limits is None else ledger.baseline.limits).allowances


def _onset(at_mm: float, total_mm: float, since_mm: float, allowance: float, error_mm: float) -> Span:
    """Between where the loss began.

    At the latest: even if nothing arrived, the sum less the bounded error took `(S - e) / (1 - k)` to grow. At the
    earliest: before the sum's last zero an error of position may have hidden `e`, at the slip seen since; and if slip
    grew evenly to twice that, it was under the allowance for `k L / 2` over the same, L being the length since.
    """
    sure_mm = max(0.0, total_mm - error_mm)
    latest_mm = min(at_mm, at_mm - sure_mm / (1.0 - allowance))
    gained = max(total_mm / max(since_mm, 1e-9), 0.01)  # slip above the allowance
    hidden_mm = (error_mm + allowance * since_mm / 2.0) / gained
    return Span(at_mm - since_mm - hidden_mm, latest_mm)
