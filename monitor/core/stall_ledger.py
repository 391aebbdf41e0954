"""Ledger of lost millimetres of one input, on net-forward feed, with its three CUSUMs.

Owns what a reading means for the ledger: whether it counts, how much was lost, and the sums. Only the rise of commanded
feed over its high-water mark counts, so a retraction and its return cancel. Differences of position telescope: counts,
lateness and play enter once at each end however many readings lie between. Knows nothing of alarms or patterns.
"""

from typing import Final, NamedTuple

from monitor.core.cusum import ZERO, CusumState, grown
from monitor.core.stall_baseline import ERROR_MARGIN, SLOW_FEED_MM_S, Baseline, Observed, learn
from monitor.core.stall_law import StallLaw

PAUSE_S: Final = 30.0  # judgement: longer without feed, and other inputs have had their turn
_WITHDRAWN_MM: Final = 10.0  # judgement: further back than any retraction within a turn
UNLOADED_MM: Final = 150.0  # judgement: withdrawn so far, what comes back is another load; parking is less
_SETTLE_MM: Final = 1.0  # slack taken up after a change of input
HOT_IDLE_S: Final = 600.0  # judgement: a strand that stood hot this long may have swollen
_HEAD_START_MM: Final = 30.0
_UNSEEN_RETURN_MM: Final = 5.0  # feed after which a reading counts although the one before it was retracted
_DRAWN_WITHIN_MM: Final = 50.0  # judgement: feed without any retraction after which none is expected
_AT_MARK_MM: Final = 0.01  # so close under the mark nothing is drawn back: sums of moves are rounded
_SCALE_UNKNOWN, _SCALE_KNOWN = 0.3, 0.05  # share by which an encoder may read long before and after learning


class Step(NamedTuple):
    """What one counted reading adds."""

    fed_mm: float = 0.0
    seen_mm: float = 0.0
    healthy_mm: float = 0.0  # expected loss
    flow_mm3_s: float = 0.0

    @property
    def lost_mm(self) -> float:
        """Lost beyond healthy slip [mm]."""
        return self.fed_mm - self.seen_mm - self.healthy_mm


NO_STEP: Final = Step()


class Balance(NamedTuple):
    """One CUSUM of lost millimetres, and the fastest feed since it was zero."""

    missing: CusumState
    peak_mm_s: float = 0.0


_LEVEL: Final = Balance(ZERO)
_NOT_FRESH: Final = False
_ALL_LEVEL: Final = (_LEVEL, _LEVEL, _LEVEL)


class Ledger(NamedTuple):
    """Where feed and encoder stood, and the sums."""

    time_s: float
    fed_mm: float  # last reported
    high_mm: float  # high-water mark
    counted_mm: float  # high-water mark at the last counted reading
    sensed_mm: float | None  # encoder at it; None where none was read yet
    moved_s: float  # when the mark last rose
    settle_to_mm: float  # until the mark is here, readings only re-zero
    taken_up_mm: float  # mark when the strand was last taken up after a pause
    hot_idle_s: float = 0.0  # as last told
    pulled_mm: float = 0.0  # retracted since the last counted reading
    odd_mm: float | None = None  # an encoder value that did not fit and waits for the next
    drawn_mm: float = 0.0  # deepest retraction of late
    drawn_at_mm: float = 0.0  # mark at the last retraction
    is_fresh: bool = True  # the zero rests on one reading, which may have been taken at a bad moment
    baseline: Baseline = Baseline()
    balances: tuple[Balance, Balance, Balance] = _ALL_LEVEL
    step: Step = NO_STEP  # of this reading; NO_STEP where it did not count
    loads: int = 0  # how often another strand was loaded
    rebased: int = 0  # how often the encoder's counter began anew


def open_ledger(time_s: float, fed_mm: float, sensed_mm: float | None) -> Ledger:
    """Ledger at the first reading."""
    return Ledger(time_s, fed_mm, fed_mm, fed_mm, sensed_mm, time_s, fed_mm + _SETTLE_MM, fed_mm)


def advance_ledger(
    law: StallLaw, old: Ledger, time_s: float, fed_mm: float, sensed_mm: float | None, hot_idle_s: float
) -> Ledger:
    """Ledger after one reading."""
    if fed_mm <= old.high_mm:
        return _retracted(law, old, time_s, fed_mm)
    if time_s - old.moved_s > PAUSE_S or (hot_idle_s > PAUSE_S and hot_idle_s != old.hot_idle_s):
        old = _taken_up(law, old, hot_idle_s)
    if sensed_mm is None:
        return old._replace(time_s=time_s, fed_mm=fed_mm, high_mm=fed_mm, moved_s=time_s, step=NO_STEP)
    if old.sensed_mm is None or fed_mm <= old.settle_to_mm:
        return _zeroed(old, time_s, fed_mm, sensed_mm)
    was_retracted = old.fed_mm < old.high_mm - _AT_MARK_MM
    if was_retracted and fed_mm - old.counted_mm < _UNSEEN_RETURN_MM:
        return old._replace(time_s=time_s, fed_mm=fed_mm, high_mm=fed_mm, moved_s=time_s, step=NO_STEP)
    return _judged(law, old, time_s, fed_mm, sensed_mm)


def _judged(law: StallLaw, old: Ledger, time_s: float, fed_mm: float, sensed_mm: float) -> Ledger:
    """A reading that continues the chain of positions, unless it is odd or the zero was."""
    lost_mm = fed_mm - old.counted_mm - (sensed_mm - (old.sensed_mm or 0.0))
    if not _fits(law, old, time_s, fed_mm, lost_mm):
        return _odd(law, old, time_s, fed_mm, sensed_mm)
    if old.is_fresh and abs(lost_mm) > _error_now_mm(law, old, time_s, fed_mm):
        return _zeroed(old, time_s, fed_mm, sensed_mm)._replace(is_fresh=False)
    return _counted(law, old, time_s, fed_mm, sensed_mm)


def level(ledger: Ledger) -> Ledger:
    """The ledger with its sums at zero."""
    return ledger._replace(balances=_ALL_LEVEL)


def speed_mm_s(law: StallLaw, old: Ledger, time_s: float, fed_mm: float) -> float:
    """Speed of feed since the last reading; readings that come in a bunch do not make it huge [mm/s]."""
    return (fed_mm - old.high_mm) / max(time_s - old.time_s, law.period_s / 2.0)


def bounded_error_mm(law: StallLaw, baseline: Baseline, peak_mm_s: float) -> float:
    """What position may err by without any strand being lost, at this speed [mm]."""
    noise = law.noise if baseline.noise is None else baseline.noise
    return noise.static_mm + noise.late_s * max(peak_mm_s, SLOW_FEED_MM_S)


def hidden_retraction_mm(ledger: Ledger) -> float:
    """How far a strand may be drawn back in a reading that does not show it: as far as was seen of late [mm]."""
    return ledger.drawn_mm if ledger.high_mm - ledger.drawn_at_mm <= _DRAWN_WITHIN_MM else 0.0


def limits_mm(law: StallLaw, ledger: Ledger) -> tuple[float, float, float]:
    """Limits of the three sums now [mm]."""
    walk_mm = (law.limits if ledger.baseline.limits is None else ledger.baseline.limits).walk_mm
    fast, medium, slow = ledger.balances
    return (
        walk_mm[0] + bounded_error_mm(law, ledger.baseline, fast.peak_mm_s),
        walk_mm[1] + bounded_error_mm(law, ledger.baseline, medium.peak_mm_s),
        walk_mm[2] + bounded_error_mm(law, ledger.baseline, slow.peak_mm_s),
    )


def _retracted(law: StallLaw, old: Ledger, time_s: float, fed_mm: float) -> Ledger:
    """Nothing new was fed; far enough back, the strand must be found anew or is another one."""
    behind_mm = old.high_mm - fed_mm
    pulled_mm = old.pulled_mm + max(0.0, old.fed_mm - fed_mm)
    if behind_mm >= UNLOADED_MM:
        return open_ledger(time_s, fed_mm, None)._replace(loads=old.loads + 1, rebased=old.rebased)
    if behind_mm >= _WITHDRAWN_MM and old.sensed_mm is not None:
        old = _relieved(law, old)._replace(settle_to_mm=old.high_mm + _SETTLE_MM, sensed_mm=None)
    drawn_mm = max(behind_mm, hidden_retraction_mm(old))
    return old._replace(
        time_s=time_s,
        fed_mm=fed_mm,
        pulled_mm=pulled_mm,
        drawn_mm=min(drawn_mm, _WITHDRAWN_MM),
        drawn_at_mm=old.high_mm if behind_mm > _AT_MARK_MM else old.drawn_at_mm,
        step=NO_STEP,
    )


def _taken_up(law: StallLaw, old: Ledger, hot_idle_s: float) -> Ledger:
    """A change of input: new zero after the slack is taken up, sums as far as no error of position explains them.

    After a long hot idle the sums have a head start of half of what the random walk needs: more would be taken up by
    errors of position, which a new zero has just let in again.
    """
    limits = law.limits if old.baseline.limits is None else old.baseline.limits
    starts = [walk_mm / 2.0 if hot_idle_s >= HOT_IDLE_S else 0.0 for walk_mm in limits.walk_mm]
    slow = _relieved(law, old).balances[2].missing
    kept = Balance(slow if slow.total > starts[2] else CusumState(starts[2]))
    return old._replace(
        taken_up_mm=old.high_mm,
        settle_to_mm=old.high_mm + _SETTLE_MM,
        sensed_mm=None,
        balances=(Balance(CusumState(starts[0])), Balance(CusumState(starts[1])), kept),
        hot_idle_s=hot_idle_s,
        pulled_mm=0.0,
        odd_mm=None,
    )


def _zeroed(old: Ledger, time_s: float, fed_mm: float, sensed_mm: float) -> Ledger:
    """The chain of positions begins here."""
    return old._replace(
        time_s=time_s,
        fed_mm=fed_mm,
        high_mm=fed_mm,
        moved_s=time_s,
        counted_mm=fed_mm,
        sensed_mm=sensed_mm,
        pulled_mm=0.0,
        odd_mm=None,
        is_fresh=True,
        step=NO_STEP,
    )


def _relieved(law: StallLaw, old: Ledger) -> Ledger:
    """Sums less the bounded error of position: a new zero in mid-feed lets it in once more."""
    fast, medium, slow = (
        _less(balance, bounded_error_mm(law, old.baseline, balance.peak_mm_s)) for balance in old.balances
    )
    return old._replace(balances=(fast, medium, slow))


def _less(balance: Balance, error_mm: float) -> Balance:
    total_mm = balance.missing.total - error_mm
    return Balance(CusumState(total_mm, balance.missing.since), balance.peak_mm_s) if total_mm > 0.0 else _LEVEL


def _error_now_mm(law: StallLaw, old: Ledger, time_s: float, fed_mm: float) -> float:
    peak_mm_s = max(old.balances[0].peak_mm_s, speed_mm_s(law, old, time_s, fed_mm))
    return bounded_error_mm(law, old.baseline, peak_mm_s)


def _fits(law: StallLaw, old: Ledger, time_s: float, fed_mm: float, lost_mm: float) -> bool:
    """Whether so much may have been lost: not more than was fed, and no more gained than was missing before.

    A reading taken within a retraction, by commanded feed or encoder alone, shows a gain that nothing explains. As a
    new zero it would make all that follows look like a loss.
    """
    fed = fed_mm - old.counted_mm
    error_mm = _error_now_mm(law, old, time_s, fed_mm)
    missing_mm = max(balance.missing.total for balance in old.balances)
    scale = _SCALE_KNOWN if old.baseline.is_frozen else _SCALE_UNKNOWN
    expected_mm = old.baseline.intercept * fed
    return -(error_mm + missing_mm + scale * fed) <= lost_mm - expected_mm and lost_mm <= fed + error_mm + old.pulled_mm


def _odd(law: StallLaw, old: Ledger, time_s: float, fed_mm: float, sensed_mm: float) -> Ledger:
    """A value that does not fit is passed over once; when the next does not fit either, the counter began anew."""
    if old.odd_mm is None:
        held = old._replace(time_s=time_s, fed_mm=fed_mm, high_mm=fed_mm, moved_s=time_s, step=NO_STEP)
        return held._replace(odd_mm=sensed_mm)
    return _zeroed(_relieved(law, old), time_s, fed_mm, sensed_mm)._replace(rebased=old.rebased + 1)


def _counted(law: StallLaw, old: Ledger, time_s: float, fed_mm: float, sensed_mm: float) -> Ledger:
    speed = speed_mm_s(law, old, time_s, fed_mm)
    counted_mm = fed_mm - old.counted_mm
    seen_mm = sensed_mm - (old.sensed_mm or 0.0)
    baseline, flow = old.baseline, speed * law.area_mm2
    step = Step(counted_mm, seen_mm, baseline.slip(flow) * counted_mm, flow)
    balances = _balanced(law, old, step, speed)
    fast = balances[0]
    if not baseline.is_frozen:
        noise = law.noise
        speed_of_sum = max(fast.peak_mm_s, SLOW_FEED_MM_S)
        is_suspect = fast.missing.total > noise.static_mm + noise.late_s * speed_of_sum
        lasting_mm = min(fast.missing.total, old.balances[0].missing.total)  # as an alarm needs two readings
        late_s = (ERROR_MARGIN * lasting_mm - noise.static_mm) / speed_of_sum
        baseline = learn(law, baseline, Observed(counted_mm, seen_mm, flow, is_suspect, late_s, old.is_fresh))
    return Ledger(
        time_s,
        fed_mm,
        fed_mm,
        fed_mm,
        sensed_mm,
        time_s,
        old.settle_to_mm,
        old.taken_up_mm,
        old.hot_idle_s,
        0.0,
        None,
        old.drawn_mm,
        old.drawn_at_mm,
        _NOT_FRESH,
        baseline,
        balances,
        step,
        old.loads,
        old.rebased,
    )


def _balanced(law: StallLaw, old: Ledger, step: Step, speed: float) -> tuple[Balance, Balance, Balance]:
    """The three sums after a step; until the baseline is frozen only the fast one is live."""
    lost_mm, fed_mm = step.lost_mm, step.fed_mm
    fast, medium, slow = old.balances
    limits = old.baseline.limits
    if limits is None:
        return _grown(fast, lost_mm, fed_mm, law.limits.allowances[0], speed), medium, slow
    allowances = limits.allowances
    return (
        _grown(fast, lost_mm, fed_mm, allowances[0], speed),
        _grown(medium, lost_mm, fed_mm, allowances[1], speed),
        _grown(slow, lost_mm, fed_mm, allowances[2], speed),
    )


def _grown(old: Balance, lost_mm: float, fed_mm: float, allowance: float, speed: float) -> Balance:
    missing = grown(old.missing, lost_mm, allowance, fed_mm)
    return Balance(missing, max(old.peak_mm_s, speed) if missing.total > 0.0 else speed)
