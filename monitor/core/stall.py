"""Stall evidence of one input: a strand that does not move as it should, seen within millimetres of feed.

Owns the state and its step. Pure: a reading gives a new state, nothing else changes. Method, sources and limits:
stalls.md.
"""

from typing import Final, NamedTuple

from monitor.core.cusum import CusumState
from monitor.core.flow_limits import FlowLimits, observe
from monitor.core.stall_alarm import SETTLE_MM, Alarm, followed, raised_by_flags, raised_by_ledger
from monitor.core.stall_flags import Flags, advance_flags, capped, is_stalled
from monitor.core.stall_habit import Habit, learned
from monitor.core.stall_law import StallLaw, stall_law
from monitor.core.stall_ledger import (
    PAUSE_S,
    Balance,
    Ledger,
    advance_ledger,
    hidden_retraction_mm,
    level,
    limits_mm,
    open_ledger,
)
from monitor.core.stall_pattern import is_held_fast, pattern_of, recent_slip, what_was_lost
from monitor.core.stall_trace import Trace, advance_trace, visible_cycle_mm
from monitor.core.stall_types import Detector, Drive, FeedReading, StallFinding, StallPattern

__all__ = [
    "Detector",
    "Drive",
    "FeedReading",
    "StallFinding",
    "StallLaw",
    "StallPattern",
    "StallState",
    "advance_stall",
    "finding",
    "initial_stall",
    "is_final",
    "shows_better",
    "stall_law",
]

_NO_FLAGS: Final = Flags()
_NO_TRACE: Final = Trace()
_NO_LIMITS: Final = FlowLimits()
_NO_HABIT: Final = Habit()
_READINGS, _READINGS_UNCLEAR = 2, 3  # in a row above the limit, for an alarm
_BLIND_MM: Final = 30.0  # fed without an encoder value, and the flags are the only evidence


class StallState(NamedTuple):
    """What is known of one input's feed."""

    ledger: Ledger | None = None
    flags: Flags = _NO_FLAGS
    trace: Trace = _NO_TRACE
    limits: FlowLimits = _NO_LIMITS
    times_over: int = 0  # counted readings in a row at which a test was above its limit
    alarm: Alarm | None = None
    habit: Habit = _NO_HABIT
    before: "StallState | None" = None  # before the newest counted reading, while that may still be read better


def initial_stall(law: StallLaw) -> StallState:  # noqa: ARG001 - a law may come to need a state of its own shape
    """State before the first reading."""
    return StallState()


def advance_stall(law: StallLaw, state: StallState, reading: FeedReading) -> StallState:
    """State after one reading of this input; the same object where nothing moved.

    Parameters
    ----------
    law : StallLaw
        Of this input.
    state : StallState
        Before the reading.
    reading : FeedReading
        Times must not fall.
    """
    old = state.ledger
    if old is None:
        return state._replace(ledger=open_ledger(reading.time_s, reading.fed_mm, reading.sensed_mm))
    if reading.fed_mm == old.fed_mm and not reading.stall_flag:
        return _read_better(law, state, reading)
    if reading.fed_mm < old.fed_mm and _was_midway(law, old):
        state, old = _uncounted_midway(state, old)
    ledger = advance_ledger(law, old, reading.time_s, reading.fed_mm, reading.sensed_mm, reading.hot_idle_s)
    if ledger.loads > old.loads:
        return StallState(ledger=ledger, limits=state.limits, habit=Habit(idle_s=state.habit.idle_s))
    if state.alarm is not None and ledger.taken_up_mm != old.taken_up_mm:
        ledger = ledger._replace(balances=old.balances)  # a change of input heals nothing: only feed that arrives does
    flags = advance_flags(law, state.flags, reading, ledger.high_mm, ledger.high_mm - old.high_mm)
    if ledger.step.fed_mm == 0.0:
        return _uncounted(law, state, ledger, flags, reading)
    return _counted(law, state, ledger, flags, reading)


def finding(law: StallLaw, state: StallState) -> StallFinding | None:
    """What is wrong with this input; None while nothing is."""
    alarm, ledger = state.alarm, state.ledger
    if alarm is None or ledger is None:
        return None
    over_mm = ledger.high_mm - alarm.at_mm + alarm.since_mm
    pattern, reasons = pattern_of(law, alarm, flags_are_reported=state.flags.are_reported)
    return StallFinding(
        pattern=pattern,
        lost_mm=alarm.lost_mm,
        over_mm=over_mm,
        onset_mm=alarm.onset_mm,
        slip=state.trace.recent.slip if alarm.after.is_over else recent_slip(alarm),
        is_final=is_final(state),
        evidence=(what_was_lost(law, alarm, over_mm), *reasons),
        detector=alarm.detector,
        is_held=pattern is StallPattern.RUN_OUT_OR_TANGLE and is_held_fast(alarm),
    )


def is_final(state: StallState) -> bool:
    """Whether enough was fed since the alarm for its pattern to be settled."""
    alarm, ledger = state.alarm, state.ledger
    if alarm is None or ledger is None:
        return False
    return ledger.high_mm - alarm.at_mm >= SETTLE_MM if alarm.detector is Detector.FLAGS else alarm.after.is_over


def shows_better(state: StallState, fed_mm: float | None, sensed_mm: float | None) -> bool:
    """Whether the encoder has moved on although nothing was fed since the newest counted reading."""
    ledger = state.ledger
    if ledger is None or state.before is None or sensed_mm is None:
        return False
    is_newest = fed_mm == ledger.fed_mm == ledger.counted_mm and ledger.time_s == ledger.moved_s
    return is_newest and sensed_mm != ledger.sensed_mm


def _read_better(law: StallLaw, state: StallState, reading: FeedReading) -> StallState:
    """The newest counted reading with what the encoder says now, where commanded feed has not moved since.

    An encoder is late. Commanded feed may have been read at the end of a retraction that the encoder did not show yet:
    a gain that is none, and then a loss that is none. Once feed stands, the encoder catches up.
    """
    ledger, before = state.ledger, state.before
    if ledger is None or before is None or not shows_better(state, reading.fed_mm, reading.sensed_mm):
        return state
    if reading.time_s - ledger.time_s > PAUSE_S:
        return state._replace(before=None)  # the next turn begins with a new zero
    return advance_stall(law, before, reading._replace(time_s=ledger.time_s))._replace(flags=state.flags)


def _uncounted_midway(state: StallState, ledger: Ledger) -> tuple[StallState, Ledger]:
    """State and ledger as if the newest reading had raised the mark and not counted."""
    before = state.before
    if before is None or before.ledger is None:
        return state, ledger
    ledger = before.ledger._replace(
        time_s=ledger.time_s, fed_mm=ledger.fed_mm, high_mm=ledger.high_mm, moved_s=ledger.moved_s
    )
    return before._replace(ledger=ledger, flags=state.flags), ledger


def _was_midway(law: StallLaw, ledger: Ledger) -> bool:
    """Whether the newest counted reading was taken within a retraction that goes on.

    It shows a gain that is none: more arrived than was fed, by more than the error of position at rest.
    """
    noise = law.noise if ledger.baseline.noise is None else ledger.baseline.noise
    is_newest = ledger.time_s == ledger.moved_s and ledger.step.fed_mm > 0.0
    return is_newest and -ledger.step.lost_mm > noise.static_mm


def _counted(law: StallLaw, state: StallState, ledger: Ledger, flags: Flags, reading: FeedReading) -> StallState:
    step = ledger.step
    cycle_mm = visible_cycle_mm(law.drive.mm_per_full_step, law.count_mm)
    trace = advance_trace(state.trace, reading, step, cycle_mm)
    limits = state.limits
    if reading.manifold_c is not None:
        limits = observe(limits, step.flow_mm3_s, reading.manifold_c, step.fed_mm, step.fed_mm - step.seen_mm)
    if state.alarm is not None:
        now = StallState(ledger, flags, trace, limits, 0, state.alarm, state.habit)
        return _standing(law, now, state.flags, reading)
    over, is_clear = _over(law, ledger)
    times_over = 0 if over is None else state.times_over + 1
    if over is not None and times_over >= (_READINGS if is_clear else _READINGS_UNCLEAR):
        alarm = raised_by_ledger(law, ledger, over, trace, flags, max(reading.hot_idle_s, ledger.hot_idle_s))
        return StallState(ledger, flags, trace, limits, times_over, alarm._replace(habit=state.habit), state.habit)
    habit = _with_feed(state.habit, ledger, reading) if over is None else state.habit
    return StallState(ledger, flags, trace, limits, times_over, None, habit, state._replace(before=None))


def _with_feed(habit: Habit, ledger: Ledger, reading: FeedReading) -> Habit:
    if any(balance.missing.total > 0.0 for balance in ledger.balances[:2]):
        return habit  # something may be missing: that is not feeding well
    in_turn_mm = ledger.high_mm - ledger.taken_up_mm
    return learned(habit, ledger.step.fed_mm, reading.manifold_c, in_turn_mm, reading.hot_idle_s)


def _uncounted(law: StallLaw, state: StallState, ledger: Ledger, flags: Flags, reading: FeedReading) -> StallState:
    """Retraction, re-zeroing, or no encoder: only flags may speak."""
    if state.alarm is not None:
        return _standing(law, state._replace(ledger=ledger, flags=flags), state.flags, reading)
    is_blind = ledger.high_mm - ledger.counted_mm >= _BLIND_MM or ledger.sensed_mm is None
    alarm = None
    if is_blind and is_stalled(law, flags):
        trace = _with_temperatures(state.trace, reading)
        alarm = raised_by_flags(ledger, trace, flags, max(reading.hot_idle_s, ledger.hot_idle_s))
        alarm = alarm._replace(habit=state.habit)
    return state._replace(ledger=ledger, flags=flags, alarm=alarm)


def _with_temperatures(trace: Trace, reading: FeedReading) -> Trace:
    manifold_c, set_c = reading.manifold_c, reading.manifold_set_c
    below_k = None if manifold_c is None or set_c is None else set_c - manifold_c
    return trace._replace(manifold_c=manifold_c, below_set_k=below_k)


def _over(law: StallLaw, ledger: Ledger) -> tuple[int | None, bool]:
    """Index of the first test above its limit, and whether it is above it by more than a hidden retraction explains."""
    fast, medium, slow = ledger.balances
    # No limit is under the fast one's static part: look closer only where a sum has come near.
    if max(fast.missing.total, medium.missing.total, slow.missing.total) <= law.noise.static_mm:
        return None, False
    hidden_mm = hidden_retraction_mm(ledger)
    for index, (balance, limit_mm) in enumerate(zip(ledger.balances, limits_mm(law, ledger), strict=True)):
        if balance.missing.total > limit_mm:
            return index, balance.missing.total > limit_mm + hidden_mm
    return None, False


def _standing(law: StallLaw, state: StallState, before: Flags, reading: FeedReading) -> StallState:
    """An alarm stands until its own sum has come down to zero over healthy feed."""
    alarm, ledger, flags = state.alarm, state.ledger, state.flags
    if alarm is None or ledger is None:
        return state
    if alarm.detector is Detector.FLAGS:
        is_over = flags.raised.total == 0.0
        state = state._replace(flags=capped(law, flags))
    else:
        index = list(Detector).index(alarm.detector)
        is_over = ledger.step.fed_mm > 0.0 and ledger.balances[index].missing.total == 0.0
        ledger = _capped(law, ledger)
    if is_over:
        return state._replace(ledger=level(ledger), alarm=None, times_over=0)
    counted = int(flags.at_mm != before.at_mm)
    return state._replace(ledger=ledger, alarm=followed(alarm, ledger, state.trace, reading.sensed_mm, counted))


def _capped(law: StallLaw, ledger: Ledger) -> Ledger:
    """Sums no higher than their limits, so that an alarm clears within few millimetres of healthy feed."""
    fast, medium, slow = (
        balance
        if balance.missing.total <= limit_mm
        else Balance(CusumState(limit_mm, balance.missing.since), balance.peak_mm_s)
        for balance, limit_mm in zip(ledger.balances, limits_mm(law, ledger), strict=True)
    )
    return ledger._replace(balances=(fast, medium, slow))
