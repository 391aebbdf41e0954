"""Which pattern an alarm looks like, and why: rules over features, with a sentence for each.

Owns the rules and their words. Where the deciding evidence is absent it says 'strand stopped' rather than guess. Knows
nothing of readings or sums. The rules in words, with their limits: stalls.md.
"""

from dataclasses import dataclass
from typing import Final

from monitor.core.motor import SPRING_BACK_CURRENT
from monitor.core.percent_words import percent
from monitor.core.stall_alarm import Alarm
from monitor.core.stall_law import StallLaw
from monitor.core.stall_ledger import HOT_IDLE_S
from monitor.core.stall_trace import visible_cycle_mm
from monitor.core.stall_types import Detector, StallPattern

BELOW_SET_K: Final = 6.0  # judgement: more than a controlled block swings
BELOW_MINIMUM_K: Final = 2.0
RISE_WITH_FLOW: Final = 0.10  # an error of time alone, at changes of speed, can look like half of this
_JAM_WITHIN_MM: Final = 30.0  # of feed after the strand was taken up
_JAM_SLIP: Final = 0.5
STANDING_SLIP: Final = 0.85
_CLOG_SLIP: Final = 0.5
_CLOG_OVER_MM: Final = 40.0
_CLOG_STEEPENS: Final = 5.0  # recent slip over the mean since it began; a ramp makes it about 2, a step more
_TANGLE_FLAGS: Final = 2  # one may be false
_FINE_MM: Final = 0.36  # counts up to this show whether a strand still creeps
_STOPS_WITHIN_MM: Final = 2.5  # judgement: a strand that has run out stands at once, as far as positions tell
_GATHERED: Final = 0.7
_FEW_MM: Final = 3.0
_STANDING_COUNTS: Final = 1.5  # a wheel that stands on an edge may show one
_SEEN_STANDING_MM: Final = 10.0  # of feed after the alarm, before standing and creeping are told apart


@dataclass(frozen=True, slots=True)
class _Case:
    """The features of one alarm."""

    law: StallLaw
    alarm: Alarm
    slip: float

    @property
    def flags(self) -> int:
        return self.alarm.flags + self.alarm.after.flags

    @property
    def below_set_k(self) -> float:
        return self.alarm.trace.below_set_k or 0.0

    @property
    def below_minimum_k(self) -> float:
        manifold_c = self.alarm.trace.manifold_c
        return 0.0 if manifold_c is None else self.law.min_feed_c - manifold_c

    @property
    def below_usual_k(self) -> float:
        """How far the manifold is below what it was while this strand fed well."""
        usual_c, manifold_c = self.alarm.habit.manifold_c, self.alarm.trace.manifold_c
        return 0.0 if usual_c is None or manifold_c is None else usual_c - manifold_c

    @property
    def is_cold(self) -> bool:
        below_k = max(self.below_set_k, self.below_usual_k)
        return below_k > BELOW_SET_K or self.below_minimum_k > BELOW_MINIMUM_K

    @property
    def is_at_temperature(self) -> bool:
        return self.alarm.trace.manifold_c is not None and not self.is_cold

    @property
    def was_hot_idle(self) -> bool:
        alarm = self.alarm
        is_long = alarm.hot_idle_s >= HOT_IDLE_S and alarm.hot_idle_s > alarm.habit.idle_s
        return is_long and alarm.fed_in_turn_mm - alarm.since_mm <= _JAM_WITHIN_MM

    @property
    def stands_still(self) -> bool:
        """Whether the encoder showed nothing after the alarm, retractions included, over enough feed to tell."""
        after = self.alarm.after
        return after.feed.fed_mm >= _SEEN_STANDING_MM and after.moved_mm <= _STANDING_COUNTS * self.law.count_mm

    @property
    def stands_without_a_trace(self) -> bool:
        """Whether it stopped at once and stands, and no flag: a held strand creeps, or its drive skips."""
        is_fine = self.law.count_mm <= _FINE_MM
        return is_fine and self.stands_still and self.flags == 0 and self.alarm.moved_mm <= _STOPS_WITHIN_MM

    @property
    def moved_mm(self) -> float:
        """Sensed since the loss began."""
        return self.alarm.moved_mm + self.alarm.after.moved_mm


def pattern_of(law: StallLaw, alarm: Alarm, *, flags_are_reported: bool) -> tuple[StallPattern, tuple[str, ...]]:
    """The pattern and the sentences that led to it.

    Parameters
    ----------
    law, alarm
        Of the input.
    flags_are_reported : bool
        Whether the driver reports stall flags at all.
    """
    case = _Case(law, alarm, recent_slip(alarm))
    if alarm.detector is Detector.FLAGS:
        return _by_flags(case)
    ran_out = flags_are_reported and case.stands_without_a_trace
    for rule in (_cold, _clog) if ran_out else (_jam, _cold, _clog):
        if found := rule(case):
            return found
    if case.slip >= STANDING_SLIP:
        return _standing(case, flags_are_reported=flags_are_reported)
    return StallPattern.STRAND_STOPPED, (
        f"{percent(case.slip)} of the recent feed does not arrive",
        "no cold block, long idle time or slow rise explains it",
    )


def is_held_fast(alarm: Alarm) -> bool:
    """Whether the driver flagged so often that something holds the strand."""
    return alarm.flags + alarm.after.flags >= _TANGLE_FLAGS


def recent_slip(alarm: Alarm) -> float:
    """Share lost after the alarm, or since the loss began while little was fed after it."""
    feed = alarm.after.feed
    if feed.fed_mm >= _FEW_MM:
        return feed.slip
    fed_mm = feed.fed_mm + alarm.since_mm
    return (feed.lost_mm + alarm.lost_mm) / fed_mm if fed_mm > 0.0 else float("nan")


def what_was_lost(law: StallLaw, alarm: Alarm, over_mm: float) -> str:
    """The first sentence: what is missing, and in what jumps."""
    if alarm.detector is Detector.FLAGS:
        return f"the driver flagged a stall {alarm.flags + alarm.after.flags} times within {over_mm:.0f} mm of feed"
    text = f"{alarm.lost_mm:.1f} mm lost in {over_mm:.0f} mm"
    cycle_mm = visible_cycle_mm(law.drive.mm_per_full_step, law.count_mm)
    jumps = alarm.trace.jumps
    if cycle_mm is not None and jumps.number >= _FEW_MM and jumps.gathering >= _GATHERED:
        text += f", in jumps of {cycle_mm:.2f} mm, one electrical cycle of the motor"
    return text


_Found = tuple[StallPattern, tuple[str, ...]]


def _jam(case: _Case) -> _Found | None:
    if not (case.was_hot_idle and case.slip > _JAM_SLIP):
        return None
    stuck_mm = max(0.0, case.alarm.fed_in_turn_mm - case.alarm.since_mm)
    return StallPattern.JAM_AFTER_IDLE, (
        f"it had stood hot for {case.alarm.hot_idle_s / 60.0:.0f} min and stuck {stuck_mm:.0f} mm after it fed again",
    )


def _cold(case: _Case) -> _Found | None:
    rise = case.alarm.trace.rise_with_flow
    rises = rise is not None and rise > RISE_WITH_FLOW
    if not case.is_cold or (case.slip >= STANDING_SLIP and not rises):
        return None
    reasons = [_cold_words(case)]
    if rise is not None and rises:
        reasons.append(_rise_words(rise))
    if case.flags:
        reasons.append(_flag_words(case))
    return StallPattern.COLD_SKIPPING, tuple(reasons)


def _clog(case: _Case) -> _Found | None:
    alarm = case.alarm
    rise = alarm.trace.rise_with_flow
    if case.slip >= _CLOG_SLIP:
        return None
    if case.is_at_temperature and rise is not None and rise > RISE_WITH_FLOW:
        why = f"{_rise_words(rise)}, and the manifold is at its temperature"
        return StallPattern.SLOW_CLOG, (f"{why}: the outlet passes less than it did",)
    mean = alarm.slow_lost_mm / max(alarm.slow_mm, _FEW_MM)
    is_gradual = alarm.slow_mm >= _CLOG_OVER_MM and case.slip <= _CLOG_STEEPENS * mean
    if not is_gradual and alarm.detector is not Detector.SLOW:
        return None
    now = f"it loses little, {percent(case.slip, 1)} of its feed now"
    return StallPattern.SLOW_CLOG, (f"{now}, {percent(mean, 1)} over the last {alarm.slow_mm:.0f} mm",)


def _standing(case: _Case, *, flags_are_reported: bool) -> _Found:
    stands = f"{percent(case.slip)} of the recent feed does not arrive"
    if is_held_fast(case.alarm):
        return StallPattern.RUN_OUT_OR_TANGLE, (f"{_flag_words(case)}: {_held_words(case)}", stands)
    return _by_counts(case, stands, flags_are_reported=flags_are_reported)


def _by_counts(case: _Case, stands: str, *, flags_are_reported: bool) -> _Found:
    """Run-out stands still, grinding creeps: after some feed, and standing still is shown by fine counts alone."""
    if case.alarm.after.feed.fed_mm < _SEEN_STANDING_MM:
        return StallPattern.STRAND_STOPPED, (stands, "too little was fed since to tell whether it creeps")
    count_mm = case.law.count_mm
    if case.stands_still and count_mm > _FINE_MM:
        coarse = f"counts of {count_mm:g} mm do not show whether it creeps"
        return StallPattern.STRAND_STOPPED, (stands, f"{coarse}, so a worn groove and an empty spool look alike")
    if case.stands_still and case.alarm.moved_mm <= _STOPS_WITHIN_MM:
        still = f"the encoder saw {case.alarm.after.moved_mm:.1f} mm after the alarm, retractions included"
        return StallPattern.RUN_OUT_OR_TANGLE, (f"{still}: no strand is left in it", stands)
    creeps = f"it slowed to a stop over {case.moved_mm:.1f} mm"
    if not flags_are_reported:
        return StallPattern.STRAND_STOPPED, (stands, f"{creeps}; without stall flags a tangle looks the same")
    return StallPattern.GRINDING, (stands, creeps, _no_flag_words(case))


def _by_flags(case: _Case) -> _Found:
    if case.was_hot_idle:
        minutes = case.alarm.hot_idle_s / 60.0
        return StallPattern.JAM_AFTER_IDLE, (f"it had stood hot for {minutes:.0f} min",)
    if case.is_cold:
        return StallPattern.COLD_SKIPPING, (_cold_words(case),)
    return StallPattern.STRAND_STOPPED, ("no encoder tells how much arrives",)


def _cold_words(case: _Case) -> str:
    if case.below_minimum_k > BELOW_MINIMUM_K:
        return f"manifold {case.below_minimum_k:.0f} K under this strand's minimum of {case.law.min_feed_c:.0f} °C"
    if case.below_usual_k > case.below_set_k:
        return f"manifold {case.below_usual_k:.0f} K colder than while this strand fed well"
    return f"manifold {case.below_set_k:.0f} K below its set point"


def _rise_words(rise: float) -> str:
    return f"it loses {percent(rise)} more of its feed at high flow than at low"


def _flag_words(case: _Case) -> str:
    return f"the driver flagged a stall {case.flags} times"


def _held_words(case: _Case) -> str:
    force_n = case.law.drive.push_n
    if force_n is None:
        return "the drive pulls against a held strand"
    return f"the drive, which gives {force_n:.0f} N at most, pulls in vain against a held strand"


def _no_flag_words(case: _Case) -> str:
    current_a, rated_a = case.law.drive.motor_current_a, case.law.drive.rated_current_a
    if current_a is None or rated_a is None:
        return "the driver flagged no repeated stall, which proves little"
    share = current_a / rated_a
    manner = "stall and spring back" if share <= SPRING_BACK_CURRENT else "cut the strand rather than stall"
    return f"the driver flagged no repeated stall; at {percent(share)} of its rated current it would rather {manner}"
